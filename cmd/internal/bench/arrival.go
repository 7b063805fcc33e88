package bench

import (
	"sync"

	"asworn/capture/audio"
)

// What is recorded after the end of the last sweep: until it has arrived, and the
// decay and the silence that a recording is judged by. Common practice, no source.
const (
	unknownArrival = 0.4 // seconds, before a level check or a take has found it
	arrivalMargin  = 0.1
	decaySeconds   = 0.35
)

// arrival is how much later than the output the inputs of the study hear it, with the
// devices that are chosen. Its methods may be called from any goroutine.
type arrival struct {
	mu      sync.Mutex
	seconds float64     // to the last input, as the level check or the first take found it; 0 before
	heard   [][]float64 // the take before, until the arrival is taken from it; nil else
}

// wait is how many seconds after the end of a signal it has arrived everywhere.
func (a *arrival) wait() float64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.seconds > 0 {
		return a.seconds + arrivalMargin
	}
	return unknownArrival
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

// learn takes from the take before how much later than the output its inputs heard one
// repeat of the excitation, which began after lead samples, where no level check has
// told: later takes then end sooner. It is done when the next one begins, so that no
// verdict waits for it.
func (a *arrival) learn(in Inputs, one []float64, lead int, rateHz float64) {
	a.mu.Lock()
	samples := a.heard
	if a.heard = nil; a.seconds > 0 {
		samples = nil
	}
	a.mu.Unlock()
	if samples == nil {
		return
	}
	longest := 0.0
	for _, i := range []int{in.Left, in.Right, in.Loopback} {
		if i == 0 || len(samples) < i || len(samples[i-1]) < lead+len(one) {
			continue
		}
		x := samples[i-1][lead:]
		lag, correlation := correlate(one, x[:min(len(x), len(one)+int(unknownArrival*rateHz))])
		if correlation < arrivedCorrelation {
			return // a side that is silent tells nothing of when it is to be heard
		}
		longest = max(longest, float64(lag)/rateHz)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.seconds == 0 {
		a.seconds = longest
	}
}
