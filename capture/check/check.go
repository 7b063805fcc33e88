// Package check judges one recording, by its samples, the silences about the
// sweeps and its responses. What only other recordings can show is not its
// business; see package compare.
package check

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/finding"
	"asworn/capture/locate"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/take"
)

// Limits of the search for the excitation.
const (
	doubtful      = 300.0  // … below which the sweep may be there at another rate
	impossiblePPM = 5000.0 // drift that sends to look for another rate
	wrongRateOver = 1.5    // by which a sweep at another rate must be clearer
)

// Found reports what the search for the sweeps says, and whether there is
// anything to go on with.
func Found(t *take.Take) bool {
	f := t.Found
	if finding.Has(t.Rec.Quality.Findings, finding.NotFinite) {
		return false
	}
	if len(f.Start) == 0 {
		f.Clarity = t.Trace
	}
	if f.Clarity < doubtful && checkRate(t) {
		return false
	}
	if f.Clarity < locate.UnclearPattern {
		t.Add(finding.New(finding.NoExcitation, "the excitation of the study is not in this recording").
			Of(f.Clarity, ""))
		return false
	}
	if len(f.Start) == 0 {
		t.Add(finding.New(finding.Truncated, "no repeat of the excitation is whole: the recording starts too late or stops too early").
			Of(float64(f.Cut), "repeats").Rated(finding.Refusal).Mended("start recording before playback and stop after the end, and record again"))
		return false
	}
	if f.Cut > 0 || f.Missing > 0 {
		t.Add(finding.New(finding.Truncated, fmt.Sprintf("%d of %d repeats are whole", len(f.Start), t.Bench.Repeats)).
			Of(float64(len(f.Start)), "repeats"))
	}
	return true
}

func refused(t *take.Take, code finding.Code) bool {
	return slices.ContainsFunc(t.Rec.Quality.Findings, func(f finding.Finding) bool { return f.Code == code && f.Severity == finding.Refusal })
}

// Responses makes the checks that need to know where the sweeps lie and
// what the responses are. A channel that is cut flat is not looked at for what
// follows from that. The findings are added in the same order whichever is
// found first.
func Responses(t *take.Take) {
	var tops, silence [take.Roles][]finding.Finding
	var repeats, background [len(study.Ears)][]finding.Finding
	var copies, wire, other []finding.Finding
	t.Bench.Share(take.Roles, func(_ *take.Desk, role int) { tops[role] = checkTops(t, role) }) // first: others ask what is spoilt
	var work []func(*take.Desk)
	for role := range take.Roles {
		work = append(work, func(d *take.Desk) { silence[role] = checkSilence(t, d, role) })
	}
	for e := range study.Ears {
		work = append(work, func(d *take.Desk) { repeats[e] = checkRepeats(t, d, e) },
			func(d *take.Desk) { background[e] = slices.Concat(checkBackground(t, d, e), checkBurst(t, d, e)) })
	}
	work = append(work, func(*take.Desk) { copies = checkCopies(t) }, func(*take.Desk) {
		if wire = checkLoopback(t); len(wire) == 0 {
			wire = checkWire(t)
		}
	})
	work = append(work, func(*take.Desk) { other = checkExcitation(t) })
	t.Bench.Share(len(work), func(d *take.Desk, i int) { work[i](d) })

	t.Add(slices.Concat(tops[:]...)...)
	t.Add(copies...)
	checkDrift(t)
	checkDropouts(t)
	t.Add(slices.Concat(silence[:]...)...)
	t.Add(wire...)
	if !refused(t, finding.Dropout) { // what comes after lost samples comes early
		t.Add(other...)
	}
	for e := range study.Ears {
		if t.X[e] == nil || t.Rec.Ears[e].SweepLevelDB <= response.NoLevelDB {
			continue // silent, and reported so
		}
		checkLevel(t, study.Ear(e))
		checkNoise(t, study.Ear(e))
		checkDistortion(t, study.Ear(e))
	}
	t.Add(slices.Concat(repeats[:]...)...)
	t.Add(slices.Concat(background[:]...)...)
	checkEars(t)
	if math.Abs(t.Rec.DriftPPM) > impossiblePPM || refused(t, finding.Noisy) || refused(t, finding.Dropout) {
		checkRate(t)
	}
	t.Add() // what is refused has no valid band
}
