package capture

import (
	"fmt"
	"math"
)

// Limits of what is read off the samples. Common practice, no source.
const (
	clipLevel     = 0.9999 // of full scale: one 16-bit step below it counts
	clipRun       = 3      // samples in a row
	flatZone      = 0.005  // of the peak: how flat a flat top is
	flatNoise     = 8      // the same, in standard deviations of the noise
	flatWidest    = 0.03   // of the peak: noisier tops cannot be told
	flatRatio     = 3.0    // samples in the top zone over those in twice the zone below
	flatLeast     = 20     // samples in the top zone
	flatBlock     = 0.01   // seconds, in which the densest place is looked for
	flatLostDB    = 1.0    // of the fundamental, from which a recording is refused
	interLeast    = 1.0116 // of full scale: 0.1 dB, what the interpolation may be wrong by
	interFrom     = 0.7    // of full scale: from where peaks between samples are looked for
	copyDB        = -60.0  // what is left of a channel when a multiple of another is taken away
	copySamples   = 20000  // that are compared
	peakPositions = 8      // between two samples
	peakTaps      = 8      // on each side
)

// checkSamples looks at the raw samples of a channel.
func (t *take) checkSamples(role int) (out []Finding) {
	x := t.x[role]
	if x == nil {
		return nil
	}
	name := channelNames[role]
	found := extremesOf(x, t.p.buf.extremes[role])
	t.p.buf.extremes[role] = found
	peak := max(found.peaks())
	t.peak[role] = peak
	if found.bad > 0 {
		out = append(out, Finding{Code: "not-finite", Severity: Refusal, Channel: name, Value: float64(found.bad), Unit: "samples",
			Message: fmt.Sprintf("%d samples are not numbers", found.bad), Mend: "record again; the file is damaged"})
	}
	if peak == 0 {
		return append(out, Finding{Code: "silent", Severity: Refusal, Channel: name,
			Message: "the channel is silent", Mend: "check cable, phantom power and the channel numbers of the study"})
	}
	if runs := clippedRuns(x, found, peak); runs > 0 {
		t.spoilt[role] = true
		out = append(out, Finding{Code: "clipping", Severity: Refusal, Channel: name, Value: float64(runs), Unit: "places",
			Message: fmt.Sprintf("clipped in %d places at %.1f dB re full scale", runs, 20*math.Log10(peak)),
			Mend:    "lower the recording gain, or the drive, and record again"})
	}
	return out
}

// clippedRuns counts the places where the signal stays at its own peak, within
// one 16-bit step, for clipRun samples or more, when that peak is full scale.
func clippedRuns(x []float64, e extremes, peak float64) int {
	if peak < clipLevel {
		return 0
	}
	limit := peak - 1.0/32768
	runs, length, next := 0, 0, 0
	for at, block := range e.reaching(x, limit, -limit) {
		if at != next {
			length = 0
		}
		next = at + len(block)
		for _, v := range block {
			if math.Abs(v) < limit {
				length = 0
				continue
			}
			if length++; length == clipRun {
				runs++
			}
		}
	}
	return runs
}

// checkTops looks for tops of a channel that are cut flat below full scale and
// for peaks between the samples that lie above it. Clipped channels are left
// alone.
func (t *take) checkTops(role int) (out []Finding) {
	allowed := max(flatRatio, 2*t.p.flatness) // an excitation may have flat tops of its own
	x, peak := t.x[role], t.peak[role]
	if x == nil || peak == 0 || t.spoilt[role] {
		return nil
	}
	if zone := max(flatZone, flatNoise*t.noiseOfSilence(x)/peak); zone <= flatWidest {
		tops := flatTops(x, t.p.buf.extremes[role], zone)
		cut := [2]bool{}
		for i, top := range tops {
			cut[i] = top.at >= flatLeast && top.ratio() >= allowed
		}
		if cut[0] || cut[1] {
			t.spoilt[role] = true
			return append(out, t.flat(role, x, cut, tops, zone))
		}
	}
	if peak < interFrom || peak > 1 {
		return nil // above 1 the format holds more than full scale
	}
	if top := interSamplePeak(x, t.p.buf.extremes[role]); top > interLeast {
		out = append(out, Finding{Code: "inter-sample-peak", Severity: Warning, Channel: channelNames[role], Value: 20 * math.Log10(top), Unit: "dB re full scale",
			Message: fmt.Sprintf("between the samples the signal reaches %+.1f dB re full scale: filters in the converter may have clipped", 20*math.Log10(top)),
			Mend:    "lower the recording gain by a few decibels"})
	}
	return out
}

// flat reports tops that are cut flat. How much it matters follows from the
// densest place: a sine that is cut for the share q of its time, θ = πq/2 on
// each side of each top, loses (2θ − sin 2θ)/π of its amplitude.
func (t *take) flat(role int, x []float64, cut [2]bool, tops [2]topZone, zone float64) Finding {
	block := int(flatBlock * t.p.rate)
	most := 0
	for from := 0; from < len(x); from += block {
		n := 0
		for _, v := range x[from:min(from+block, len(x))] {
			if cut[0] && v >= tops[0].peak*(1-zone) || cut[1] && -v >= tops[1].peak*(1-zone) {
				n++
			}
		}
		most = max(most, n)
	}
	sides, side := 2.0, "tops"
	level := 20 * math.Log10(max(tops[0].peak, tops[1].peak))
	if cut[0] != cut[1] {
		sides, side = 1, "positive tops"
		level = 20 * math.Log10(tops[0].peak)
		if cut[1] {
			side = "negative tops"
			level = 20 * math.Log10(tops[1].peak)
		}
	}
	theta := math.Pi / sides * float64(most) / float64(block)
	lost := -20 * math.Log10(max(0.01, 1-sides/2*(2*theta-math.Sin(2*theta))/math.Pi))
	f := Finding{Code: "flat-top", Severity: Warning, Channel: channelNames[role], Value: lost, Unit: "dB",
		Message: fmt.Sprintf("the %s are cut flat at %.1f dB re full scale, below it: something before the converter is at its limit; the response is up to %.2f dB too low where it is strongest", side, level, lost),
		Mend:    "lower the gain of the microphone's amplifier, or the drive, and record again"}
	if t.peak[role] >= clipLevel {
		f.Code = "clipping"
		f.Message = fmt.Sprintf("the %s are clipped at full scale; the response is up to %.2f dB too low where it is strongest", side, lost)
		f.Mend = "lower the recording gain, or the drive, and record again"
	}
	if lost > flatLostDB {
		f.Severity = Refusal
	}
	return f
}

// topZone counts the samples near the highest.
type topZone struct {
	peak      float64
	at, below int // samples within a zone of the peak, and in twice that zone below it
}

// ratio is the density of samples at the top over that below. Below a smooth
// maximum of height 1 the time spent above 1−δ goes with √δ, so that it is
// 1/(√3−1) = 1.37 at most; a flat top has no bound.
func (z topZone) ratio() float64 { return float64(z.at) / math.Max(float64(z.below), 1) }

// flatTops counts the tops and the bottoms of a signal; zone is relative to
// the peak.
func flatTops(x []float64, e extremes, zone float64) [2]topZone {
	var up, down topZone
	up.peak, down.peak = e.peaks()
	high, middle := up.peak*(1-zone), up.peak*(1-3*zone)
	low, lower := -down.peak*(1-3*zone), -down.peak*(1-zone)
	for _, block := range e.reaching(x, middle, low) {
		for _, v := range block {
			switch {
			case v >= middle && up.peak > 0:
				if v >= high {
					up.at++
				} else {
					up.below++
				}
			case v <= low && down.peak > 0:
				if v <= lower {
					down.at++
				} else {
					down.below++
				}
			}
		}
	}
	return [2]topZone{up, down}
}

// noiseOfSilence returns the standard deviation of the first silence of a
// channel, 0 when there is none.
func (t *take) noiseOfSilence(x []float64) float64 {
	quiet := t.silences()
	if len(quiet) == 0 {
		return 0
	}
	var sum, square float64
	q := x[quiet[0][0]:quiet[0][1]]
	for _, v := range q {
		sum += v
		square += v * v
	}
	n := float64(len(q))
	return math.Sqrt(math.Max(0, square/n-sum*sum/n/n))
}

// interSamplePeak returns the highest magnitude of the band-limited signal
// between the samples about those that come near full scale, by a windowed
// sinc (as ITU-R BS.1770 estimates true peaks, with more positions).
func interSamplePeak(x []float64, e extremes) float64 {
	kernels := peakKernels()
	top := 0.0
	for at, block := range e.reaching(x, interFrom, -interFrom) {
		for i := max(at, peakTaps); i < min(at+len(block), len(x)-peakTaps); i++ {
			a := math.Abs(x[i])
			top = max(top, a)
			if a < interFrom || a < math.Abs(x[i-1]) || a < math.Abs(x[i+1]) {
				continue
			}
			near := (*[2*peakTaps + 1]float64)(x[i-peakTaps:])
			for k := range kernels {
				sum := 0.0
				for j, w := range kernels[k] {
					sum += w * near[j]
				}
				top = max(top, math.Abs(sum))
			}
		}
	}
	return top
}

// peakKernels returns the weights of the samples about a place between two, for
// every position but that of the sample itself.
func peakKernels() (out [2*peakPositions - 2][2*peakTaps + 1]float64) {
	k := 0
	for p := -peakPositions + 1; p < peakPositions; p++ {
		if p == 0 {
			continue
		}
		for j := range out[k] {
			d := float64(j-peakTaps) - float64(p)/peakPositions/2
			out[k][j] = (0.5 + 0.5*math.Cos(math.Pi*d/(peakTaps+1))) * math.Sin(math.Pi*d) / (math.Pi * d)
		}
		k++
	}
	return out
}

// checkCopies looks for a channel that is a multiple of another.
func (t *take) checkCopies() (out []Finding) {
	step := max(1, t.total/copySamples)
	for a, x := range t.x {
		for b := a + 1; b < roles; b++ {
			y := t.x[b]
			if x == nil || y == nil || t.peak[a] == 0 || t.peak[b] == 0 {
				continue
			}
			var xx, xy, yy float64
			for i := 0; i < t.total; i += step {
				xx, xy, yy = xx+x[i]*x[i], xy+x[i]*y[i], yy+y[i]*y[i]
			}
			if xx == 0 || yy == 0 {
				continue
			}
			left := decibels(math.Max(0, 1-xy*xy/xx/yy))
			if left > copyDB {
				continue
			}
			out = append(out, Finding{Code: "identical-channels", Severity: Refusal, Channel: channelNames[b], Value: max(left, -120), Unit: "dB",
				Message: fmt.Sprintf("the %s and the %s channel hold the same signal", channelNames[a], channelNames[b]),
				Mend:    "check the cables, the recorder's channel linking (stereo, mono) and the channel numbers of the study"})
		}
	}
	return out
}
