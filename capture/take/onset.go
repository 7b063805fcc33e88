package take

import (
	"math"

	"asworn/capture/exposure"
	"asworn/capture/response"
	"asworn/capture/samples"
	"asworn/capture/study"
)

// LevelOf returns the level of the sweep in a channel, a full-scale sine being
// 0 dB.
func (t *Take) LevelOf(role int) float64 {
	if role != Loopback {
		return t.FullScaleLevel(study.Ear(role))
	}
	g := t.refGain * t.Bench.XRMS
	return response.Decibels(2 * g * g)
}

// FullScaleLevel returns the level of the sweep re full scale (AES17). It is in dB re a
// sine of full scale, NoLevelDB for an ear without a level.
func (t *Take) FullScaleLevel(e study.Ear) float64 {
	level := t.Rec.Ears[e].SweepLevelDB
	if level <= response.NoLevelDB {
		return response.NoLevelDB
	}
	if pa := t.Bench.Setup.Microphones[e].PaPerUnit; pa > 0 {
		level += 20*math.Log10(exposure.ReferencePa/pa) + 20*math.Log10(math.Sqrt2)
	}
	return level
}

// Gain returns what turns |H|, microphone over reference in sample values,
// into the level unit.
func (t *Take) Gain(e study.Ear) float64 {
	p := t.Bench
	g := p.Setup.Microphones[e].PaPerUnit * p.XRMS * t.refGain
	switch p.Setup.LevelUnit() {
	case study.PascalPerVolt:
		return g / p.Setup.DriveVoltsRMS
	case study.PascalLevel:
		return g
	}
	return 1
}

// CopyAround copies values of a period from index from on, which may lie in any other
// period. dst may be longer than a period, whose length is in samples; the period must
// hold a sample.
func CopyAround(dst, period []float64, from int) {
	n := len(period)
	for from = (from%n + n) % n; len(dst) > 0; from = 0 {
		dst = dst[copy(dst, period[from:]):]
	}
}

// Onset returns where the direct sound lies in an impulse response, in
// samples after the cut: the first peak that reaches 70 % of the highest,
// within 5 ms before it, to a part of a sample. It may be negative or wrap.
func (t *Take) Onset(h []float64) float64 {
	n := t.Bench.N
	at := func(i int) float64 { return math.Abs(h[((i%n)+n)%n]) }
	// The linear response starts near the expected place; harmonics lie
	// before it, and the search reaches back half way to the nearest only.
	back := t.Bench.Pre / 2
	top, most := 0, 0.0
	for i, v := range h[n-back:] {
		if v = math.Abs(v); v > most {
			top, most = i-back, v
		}
	}
	for i, v := range h[:min(n, t.Bench.Tail+t.Bench.Preroll)] {
		if v = math.Abs(v); v > most {
			top, most = i, v
		}
	}
	first := top
	for i := top - int(0.005*t.Bench.RateHz); i < top; i++ {
		if at(i) >= 0.7*at(top) && at(i) >= at(i-1) && at(i) >= at(i+1) {
			first = i
			break
		}
	}
	return float64(first) + samples.PeakOffset(at(first-1), at(first), at(first+1))
}
