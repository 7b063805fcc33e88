package check

import (
	"fmt"
	"math"

	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/samples"
	"asworn/capture/take"
)

// checkSamples looks at the raw samples of a channel.
func Samples(t *take.Take, role int) (out []finding.Finding) {
	x := t.X[role]
	if x == nil {
		return nil
	}
	name := take.ChannelNames[role]
	found := samples.ExtremesOf(x, t.Bench.Buf.Extremes[role])
	t.Bench.Buf.Extremes[role] = found
	peak := max(found.Peaks())
	t.Peak[role] = peak
	if found.Bad > 0 {
		out = append(out, finding.New(finding.NotFinite, fmt.Sprintf("%d samples are not numbers", found.Bad)).
			On(name).Of(float64(found.Bad), "samples"))
	}
	if peak == 0 {
		return append(out, finding.New(finding.Silent, "the channel is silent").
			On(name))
	}
	if runs := samples.ClippedRuns(x, found, peak); runs > 0 {
		t.Spoilt[role] = true
		out = append(out, finding.New(finding.Clipping, finding.Text("clipped in %d places at %.1f dB re full scale", runs, 20*math.Log10(peak))).
			On(name).Of(float64(runs), "places"))
	}
	return out
}

// checkTops looks for tops of a channel that are cut flat below full scale and
// for peaks between the samples that lie above it. Clipped channels are left
// alone.
func checkTops(t *take.Take, role int) (out []finding.Finding) {
	allowed := max(flatRatio, 2*t.Bench.Flatness) // an excitation may have flat tops of its own
	x, peak := t.X[role], t.Peak[role]
	if x == nil || peak == 0 || t.Spoilt[role] {
		return nil
	}
	if zone := max(samples.FlatZone, flatNoise*t.NoiseOfSilence(x)/peak); zone <= flatWidest {
		tops := samples.FlatTops(x, t.Bench.Buf.Extremes[role], zone)
		cut := [2]bool{}
		for i, top := range tops {
			cut[i] = top.At >= flatLeast && top.Ratio() >= allowed
		}
		if cut[0] || cut[1] {
			t.Spoilt[role] = true
			return append(out, flat(t, role, x, cut, tops, zone))
		}
	}
	if peak < samples.InterFrom || peak > 1 {
		return nil // above 1 the format holds more than full scale
	}
	if top := samples.InterSamplePeak(x, t.Bench.Buf.Extremes[role]); top > interLeast {
		out = append(out, finding.New(finding.InterSamplePeak, finding.Text("between the samples the signal reaches %+.1f dB re full scale: filters in the converter may have clipped", 20*math.Log10(top))).
			On(take.ChannelNames[role]).Of(20*math.Log10(top), "dB re full scale"))
	}
	return out
}

// flat reports tops that are cut flat. How much it matters follows from the
// densest place: a sine that is cut for the share q of its time, θ = πq/2 on
// each side of each top, loses (2θ − sin 2θ)/π of its amplitude.
func flat(t *take.Take, role int, x []float64, cut [2]bool, tops [2]samples.TopZone, zone float64) finding.Finding {
	block := int(flatBlock * t.Bench.RateHz)
	most := 0
	for from := 0; from < len(x); from += block {
		n := 0
		for _, v := range x[from:min(from+block, len(x))] {
			if cut[0] && v >= tops[0].Peak*(1-zone) || cut[1] && -v >= tops[1].Peak*(1-zone) {
				n++
			}
		}
		most = max(most, n)
	}
	sides, side := 2.0, "tops"
	level := 20 * math.Log10(max(tops[0].Peak, tops[1].Peak))
	if cut[0] != cut[1] {
		sides, side = 1, "positive tops"
		level = 20 * math.Log10(tops[0].Peak)
		if cut[1] {
			side = "negative tops"
			level = 20 * math.Log10(tops[1].Peak)
		}
	}
	theta := math.Pi / sides * float64(most) / float64(block)
	lost := -20 * math.Log10(max(0.01, 1-sides/2*(2*theta-math.Sin(2*theta))/math.Pi))
	f := finding.New(finding.FlatTop, finding.Text("the %s are cut flat at %.1f dB re full scale, below it: something before the converter is at its limit; the response is up to %.2f dB too low where it is strongest", side, level, lost)).
		On(take.ChannelNames[role]).Of(lost, "dB")
	if t.Peak[role] >= samples.ClipLevel {
		f.Code = finding.Clipping
		f.Message = fmt.Sprintf("the %s are clipped at full scale; the response is up to %.2f dB too low where it is strongest", side, lost)
		f.Mend = "lower the recording gain, or the drive, and record again"
	}
	if lost > flatLostDB {
		f.Severity = finding.Refusal
	}
	return f
}

// checkCopies looks for a channel that is a multiple of another.
func checkCopies(t *take.Take) (out []finding.Finding) {
	for a, x := range t.X {
		for b := a + 1; b < take.Roles; b++ {
			y := t.X[b]
			if x == nil || y == nil || t.Peak[a] == 0 || t.Peak[b] == 0 {
				continue
			}
			left := beyond(x, y, t.Peak[b])
			if left > copyDB {
				continue
			}
			out = append(out, finding.New(finding.IdenticalChannels, fmt.Sprintf("the %s and the %s channel hold the same signal", take.ChannelNames[a], take.ChannelNames[b])).
				On(take.ChannelNames[b]).Of(max(left, -120), "dB"))
		}
	}
	return out
}

// beyond is what is left of y when a multiple of x is taken away, in dB re y; 0 as soon as
// it is sure to be over copyDB. peak is that of y.
func beyond(x, y []float64, peak float64) float64 {
	step := max(1, len(x)/copySamples)
	// What is left of the first samples only grows, and y's power cannot exceed this.
	enough := 2 * math.Pow(10, copyDB/10) * peak * peak * float64(len(x)/step+1)
	var xx, xy, yy float64
	for at := 0; at < len(x); {
		for to := min(at+copyBlock*step, len(x)); at < to; at += step {
			xx, xy, yy = xx+x[at]*x[at], xy+x[at]*y[at], yy+y[at]*y[at]
		}
		if yy*xx-xy*xy > enough*xx {
			return 0
		}
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return response.Decibels(math.Max(0, 1-xy*xy/xx/yy))
}

// Limits of what is read off the samples. Common practice, no source.
const (
	flatNoise   = 8      // the same, in standard deviations of the noise
	flatWidest  = 0.03   // of the peak: noisier tops cannot be told
	flatRatio   = 3.0    // samples in the top zone over those in twice the zone below
	flatLeast   = 20     // samples in the top zone
	flatBlock   = 0.01   // seconds, in which the densest place is looked for
	flatLostDB  = 1.0    // of the fundamental, from which a recording is refused
	interLeast  = 1.0116 // of full scale: 0.1 dB, what the interpolation may be wrong by
	copyDB      = -60.0  // what is left of a channel when a multiple of another is taken away
	copySamples = 20000  // that are compared
	copyBlock   = 50     // of them, after which it may be clear that they differ
)
