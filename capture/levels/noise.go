package levels

import (
	"math"

	"asworn/capture/deconv"
	"asworn/capture/study"
	"asworn/capture/take"
)

// noiseSpectrum is the noise of one repeat in the impulse response: per band,
// the variance per sample of noise that is white at the band's density, and
// the degrees of freedom of that estimate.
type noiseSpectrum struct {
	density []float64
	freedom []float64
}

// noise puts together what the lead silence, the differences of the repeats
// and, failing both, the rest of the impulse response say about the noise of
// one ear.
func noise(t *take.Take, b *take.Desk, e study.Ear, whole int, repeats noiseSpectrum, okRepeats bool) noiseSpectrum {
	lead, okLead := noiseFromLead(t, b, e)
	switch {
	case !okRepeats && !okLead:
		return noiseFromRest(t, b, whole)
	case !okRepeats:
		return lead
	case !okLead:
		return repeats
	}
	// Where the two agree they are pooled. Where they do not the larger one
	// counts: hum in step with the repeats shows in the silence only, what
	// changes during the sweep shows in the repeats only.
	for i := range lead.density {
		a, b := lead.density[i], repeats.density[i]
		m, n := lead.freedom[i], repeats.freedom[i]
		if a > 0 && b > 0 && math.Abs(math.Log(a/b)) < 3.3*math.Sqrt(2/m+2/n) {
			lead.density[i] = (m*a + n*b) / (m + n)
			lead.freedom[i] = m + n
		} else if b > a {
			lead.density[i], lead.freedom[i] = b, n
		}
	}
	return lead
}

// noiseFromLead takes the Welch spectrum of the silence before the first
// repeat through the inverse of the excitation.
func noiseFromLead(t *take.Take, b *take.Desk, e study.Ear) (noiseSpectrum, bool) {
	p := t.Bench
	from, to := t.LeadRange()
	if to == from {
		return noiseSpectrum{}, false
	}
	x := t.X[e][from:to]
	size := 1
	for 2*size <= min(len(x)/2, int(0.35*p.RateHz)) {
		size *= 2
	}
	if b.Welch == nil || b.Welch.Size() != size {
		b.Welch, b.PSD = deconv.NewWelch(size, p.RateHz), make([]float64, size/2+1)
	}
	b.Welch.Density(b.PSD, x)
	step := p.RateHz / float64(size)
	bands, freedom := p.Widened(float64(len(x)) / p.RateHz)
	density := make([]float64, len(p.Bands))
	deconv.MeanOver(density, b.PSD, step, bands)
	for i, g := range inversePower(t, e) {
		density[i] *= p.RateHz / 2 * g
		freedom[i] *= 0.9 // Hann windows that overlap by half (Welch 1967)
	}
	return noiseSpectrum{density, freedom}, true
}

// AverageInverse works out |inverse|², with the correction of an ear's
// microphone, averaged over each band, where the silence before the sweep is
// going to need it.
func AverageInverse(t *take.Take, b *take.Desk, e study.Ear) {
	p := t.Bench
	if from, to := t.LeadRange(); from == to || t.X[e] == nil {
		return
	}
	if e == study.Right && t.X[take.Left] != nil && p.Correct[take.Left] == nil && p.Correct[take.Right] == nil {
		return // as for the left ear
	}
	inverse := p.Buf.Inverse
	if c := p.Correct[e]; c != nil {
		inverse = b.Mean
		for k, v := range p.Buf.Inverse {
			inverse[k] = v * c[k]
		}
	}
	t.Inverse[e] = make([]float64, len(p.Bands))
	deconv.MeanPowerOver(t.Inverse[e], inverse, p.RateHz/float64(p.N), p.Bands)
}

func inversePower(t *take.Take, e study.Ear) []float64 {
	if t.Inverse[e] == nil {
		return t.Inverse[take.Left]
	}
	return t.Inverse[e]
}

// noiseFromRest takes what the windows leave of the impulse response. Late
// reverberation and higher harmonics count as noise there.
func noiseFromRest(t *take.Take, b *take.Desk, whole int) noiseSpectrum {
	p := t.Bench
	if p.Smooth != nil {
		return noiseOf(t, b.Misfit, float64(len(p.Window)))
	}
	at := func(i int) int { return ((i % p.N) + p.N) % p.N }
	copy(b.Segment, b.Impulse)
	for i, w := range p.Window {
		b.Segment[at(whole-p.Pre+i)] *= 1 - w
	}
	gone := float64(len(p.Window))
	for _, h := range p.Orders {
		for i := range h.Window {
			b.Segment[at(whole-h.Lead-h.Before+i)] = 0
		}
		gone += float64(len(h.Window))
	}
	b.FFT.Forward(b.Mean, b.Segment)
	return noiseOf(t, b.Mean, gone)
}

// noiseOf returns the noise whose spectrum is given; gone samples of it were
// taken out.
func noiseOf(t *take.Take, spectrum []complex128, gone float64) noiseSpectrum {
	p := t.Bench
	recorded := min(p.Segment, t.Total-t.Cut[t.FirstKept()]) // the file may end early
	left := max(float64(recorded)-gone, 1)
	bands, freedom := p.Widened(left / p.RateHz)
	out := noiseSpectrum{make([]float64, len(p.Bands)), freedom}
	deconv.MeanPowerOver(out.density, spectrum, p.RateHz/float64(p.N), bands)
	for i := range out.density {
		out.density[i] /= left
	}
	return out
}
