package capture

import (
	"asworn/capture/study"
	"fmt"
	"math"
	"slices"
)

// Limits of the search for the excitation.
const (
	unclearPattern = 30.0   // pulse over trace when looking for the sweeps
	doubtful       = 300.0  // … below which the sweep may be there at another rate
	impossiblePPM  = 5000.0 // drift that sends to look for another rate
	wrongRateOver  = 1.5    // by which a sweep at another rate must be clearer
)

// add records a finding; the worst come first, and among equals the earlier.
func (t *take) add(found ...Finding) { t.rec.AddFindings(found...) }

// checkFound reports what the search for the sweeps says, and whether there is
// anything to go on with.
func (t *take) checkFound() bool {
	f := t.found
	if !t.rec.Quality.finite() {
		return false
	}
	if len(f.start) == 0 {
		f.clarity = clarityOf(t.p.find.energy)
	}
	if f.clarity < doubtful && t.checkRate() {
		return false
	}
	if f.clarity < unclearPattern {
		t.add(Finding{Code: "no-excitation", Severity: Refusal, Value: f.clarity,
			Message: "the excitation of the study is not in this recording",
			Mend:    "check that the right excitation was played, at the right rate and into the right channels, and record again"})
		return false
	}
	if len(f.start) == 0 {
		t.add(Finding{Code: "truncated", Severity: Refusal, Value: float64(f.cut), Unit: "repeats",
			Message: "no repeat of the excitation is whole: the recording starts too late or stops too early",
			Mend:    "start recording before playback and stop after the end, and record again"})
		return false
	}
	if f.cut > 0 || f.missing > 0 {
		t.add(Finding{Code: "truncated", Severity: Warning, Value: float64(len(f.start)), Unit: "repeats",
			Message: fmt.Sprintf("%d of %d repeats are whole", len(f.start), t.p.repeats),
			Mend:    "start recording before playback and stop after the end"})
	}
	return true
}

// clarityOf returns the highest of a trace over its mean.
func clarityOf(trace []float64) float64 {
	top, sum := 0.0, 0.0
	for _, v := range trace {
		top, sum = max(top, v), sum+v
	}
	if sum == 0 {
		return 0
	}
	return top / sum * float64(len(trace))
}

// checkRate reports whether the excitation is there at another rate.
func (t *take) checkRate() bool {
	ratio := t.playedAtAnotherRate()
	if ratio == 0 {
		return false
	}
	t.add(Finding{Code: "wrong-rate", Severity: Refusal, Value: ratio * t.p.rate, Unit: "Hz",
		Message: fmt.Sprintf("the excitation is there %.4g times as long as it should be: player and recorder ran at different rates, such as %.0f and %.0f Hz", ratio, t.p.rate, ratio*t.p.rate),
		Mend:    "set player, recorder and study.toml to the same rate, and record again"})
	return true
}

func (t *take) refused(code string) bool {
	return slices.ContainsFunc(t.rec.Quality.Findings, func(f Finding) bool { return f.Code == code && f.Severity == Refusal })
}

// finite reports whether the samples are numbers.
func (q Quality) finite() bool {
	return !slices.ContainsFunc(q.Findings, func(f Finding) bool { return f.Code == "not-finite" })
}

// checkResponses makes the checks that need to know where the sweeps lie and
// what the responses are. A channel that is cut flat is not looked at for what
// follows from that. The findings are added in the same order whichever is
// found first.
func (t *take) checkResponses() {
	var tops, silence [roles][]Finding
	var repeats [len(study.Ears)][]Finding
	var copies, wire []Finding
	var work []func(*desk)
	for role := range roles {
		work = append(work,
			func(d *desk) { silence[role] = t.checkSilence(d, role) },
			func(*desk) { tops[role] = t.checkTops(role) })
	}
	for e := range study.Ears {
		work = append(work, func(d *desk) { repeats[e] = t.checkRepeats(d, e) })
	}
	work = append(work, func(*desk) { copies = t.checkCopies() }, func(*desk) { wire = t.checkLoopback() })
	t.p.share(len(work), func(d *desk, i int) { work[i](d) })

	t.add(slices.Concat(tops[:]...)...)
	t.add(copies...)
	t.checkDrift()
	t.checkDropouts()
	t.add(slices.Concat(silence[:]...)...)
	t.add(wire...)
	for e := range study.Ears {
		if t.x[e] == nil || t.rec.Ears[e].SweepLevelDB <= NoLevelDB {
			continue // silent, and reported so
		}
		t.checkLevel(study.Ear(e))
		t.checkNoise(study.Ear(e))
		t.checkDistortion(study.Ear(e))
	}
	t.add(slices.Concat(repeats[:]...)...)
	t.checkEars()
	if math.Abs(t.rec.DriftPPM) > impossiblePPM || t.refused("noisy") || t.refused("dropout") {
		t.checkRate()
	}
	t.add() // what is refused has no valid band
}
