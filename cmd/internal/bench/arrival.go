package bench

import (
	"fmt"
	"sync"

	"asworn/capture/audio"
	"asworn/cmd/internal/hearing"
)

// What is recorded after the end of the last sweep: until it has arrived, and the
// decay and the silence that a recording is judged by. Common practice, no source.
const (
	usualArrival   = 0.4 // seconds, which a take waits before a level check or a take has found it
	longestArrival = 2.0 // for which a level check listens
	arrivalMargin  = 0.1
	decaySeconds   = 0.35
)

// arrival is how much later than the output the inputs of the study hear it, with the
// devices that are chosen. Its methods may be called from any goroutine.
type arrival struct {
	one       []float64 // one repeat of the excitation
	lead, gap int       // samples before the first and between them
	rateHz    float64

	mu      sync.Mutex
	seconds float64     // to the last input, as the level check or the first take found it; 0 before
	heard   [][]float64 // the take before, until the arrival is taken from it; nil else
}

// wait is how many seconds after the end of a signal it has arrived everywhere, by what was
// found; unknown where nothing was.
func (a *arrival) wait(unknown float64) float64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.seconds > 0 {
		return a.seconds + arrivalMargin
	}
	return unknown
}

// recorded is how many seconds a signal is recorded for that is played: until it has arrived
// and decayed; unknown is as in wait.
func (a *arrival) recorded(signal []float64, unknown float64) float64 {
	return float64(len(signal))/a.rateHz + a.wait(unknown) + decaySeconds
}

// found takes down the arrival that a level check found, in seconds.
func (a *arrival) found(seconds float64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.seconds = seconds
}

// forget is for other devices.
func (a *arrival) forget() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.seconds, a.heard = 0, nil
}

// keep keeps a whole take until the next, which then knows when it may end.
func (a *arrival) keep(t audio.Take) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.seconds == 0 {
		a.heard = t.Samples
	}
}

// learn takes from the take before how much later than the output its inputs heard it,
// where no level check has told: later takes then end sooner. It is done when the next one
// begins, so that no verdict waits for it.
func (a *arrival) learn(in hearing.Inputs) {
	a.mu.Lock()
	samples := a.heard
	if a.heard = nil; a.seconds > 0 {
		samples = nil
	}
	a.mu.Unlock()
	if at, ok := a.of(samples, in); ok {
		a.found(at)
	}
}

// of is how many seconds after it was played the last input of the study heard the first
// sweep of a take; ok is false where one did not hear it.
func (a *arrival) of(samples [][]float64, in hearing.Inputs) (longest float64, ok bool) {
	reach := int(a.reach() * a.rateHz)
	for _, c := range in.Each() {
		i := c.Number
		if i == 0 || len(samples) < i || len(samples[i-1]) < a.lead+len(a.one) {
			continue
		}
		x := samples[i-1][a.lead:]
		lag, correlation := hearing.Correlate(a.one, x[:min(len(x), len(a.one)+reach)])
		if correlation < hearing.ArrivedCorrelation {
			return 0, false // a side that is silent tells nothing of when it is to be heard
		}
		longest, ok = max(longest, float64(lag)/a.rateHz), true
	}
	return longest, ok
}

// reach is how late the first sweep of an excitation can be told to arrive, in seconds: not
// so late that the next one, which is like it, may be what is heard.
func (a *arrival) reach() float64 {
	return min(longestArrival, float64(len(a.one)+a.gap)/2/a.rateHz)
}

// quicker is what makes sound arrive sooner.
const quicker = "; a wired device, or a shorter buffer of the sound server, is quicker (--setup chooses devices again)"

// late says why a take ended before its last sweep had arrived, and has the next one wait
// for it.
func (a *arrival) late(samples [][]float64, in hearing.Inputs) string {
	waited := a.wait(usualArrival)
	at, ok := a.of(samples, in)
	switch {
	case !ok:
		return fmt.Sprintf("this take ended before its last sweep had arrived, and not how late that is could be told: make the level check (l), which listens for %.0f s%s", longestArrival, quicker)
	case at <= waited+decaySeconds:
		return "the first sweep of this take arrived in time and the last did not: the sound stood still in between; close other programs and record again"
	}
	a.found(at)
	return fmt.Sprintf("sound arrives %.2f s after it is played, and this take waited %.2f s: the next one waits for it, record again%s", at, waited, quicker)
}
