package capture

import (
	"math"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/study"
)

// noiseSpectrum is the noise of one repeat in the impulse response: per band,
// the variance per sample of noise that is white at the band's density, and
// the degrees of freedom of that estimate.
type noiseSpectrum struct {
	density []float64
	freedom []float64
}

// leastFreedom is how many degrees of freedom a noise estimate must have; the
// band it is averaged over is widened until it does. With 60 an interval built
// on it covers 94.5 % instead of 95 %.
const leastFreedom = 60

// widened returns the bands, each widened about its middle until an estimate
// over seconds of noise has leastFreedom degrees of freedom (two per hertz and
// second), and those degrees.
func (p *Processor) widened(seconds float64) ([]band.Band, []float64) {
	out := make([]band.Band, len(p.bands))
	freedom := make([]float64, len(p.bands))
	for i, b := range p.bands {
		width := max(b.Upper-b.Lower, leastFreedom/(2*seconds))
		lower := max(b.Mid-width/2, p.lowHz*0.7, 1/seconds)
		upper := min(lower+width, p.rate/2)
		out[i] = band.Band{Lower: lower, Mid: b.Mid, Upper: upper}
		freedom[i] = max(1, 2*seconds*(upper-lower))
	}
	return out, freedom
}

// noise puts together what the lead silence, the differences of the repeats
// and, failing both, the rest of the impulse response say about the noise of
// one ear.
func (t *take) noise(b *desk, e study.Ear, whole int) noiseSpectrum {
	lead, okLead := t.noiseFromLead(b, e)
	used := 0
	for _, w := range t.keep {
		if w > 0 {
			used++
		}
	}
	if used < 2 {
		if okLead {
			return lead
		}
		return t.noiseFromRest(b, whole)
	}
	repeats := t.noiseFromRepeats(b, e, used)
	if !okLead {
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
func (t *take) noiseFromLead(b *desk, e study.Ear) (noiseSpectrum, bool) {
	p := t.p
	from, to := t.leadRange()
	if to == from {
		return noiseSpectrum{}, false
	}
	x := t.x[e][from:to]
	size := 1
	for 2*size <= min(len(x)/2, int(0.35*p.rate)) {
		size *= 2
	}
	if b.welch == nil || b.welch.Size() != size {
		b.welch, b.psd = deconv.NewWelch(size, p.rate), make([]float64, size/2+1)
	}
	b.welch.Density(b.psd, x)
	step := p.rate / float64(size)
	bands, freedom := p.widened(float64(len(x)) / p.rate)
	density := make([]float64, len(p.bands))
	deconv.MeanOver(density, b.psd, step, bands)
	for i, g := range t.inversePower(e) {
		density[i] *= p.rate / 2 * g
		freedom[i] *= 0.9 // Hann windows that overlap by half (Welch 1967)
	}
	return noiseSpectrum{density, freedom}, true
}

// averageInverse works out |inverse|², with the correction of an ear's
// microphone, averaged over each band, where the silence before the sweep is
// going to need it.
func (t *take) averageInverse(b *desk, e study.Ear) {
	p := t.p
	if from, to := t.leadRange(); from == to || t.x[e] == nil {
		return
	}
	if e == study.Right && t.x[left] != nil && p.correct[left] == nil && p.correct[right] == nil {
		return // as for the left ear
	}
	for k, v := range p.buf.inverse {
		if c := p.correct[e]; c != nil {
			v *= c[k]
		}
		b.density[k] = real(v)*real(v) + imag(v)*imag(v)
	}
	t.inverse[e] = make([]float64, len(p.bands))
	deconv.MeanOver(t.inverse[e], b.density, p.rate/float64(p.n), p.bands)
}

func (t *take) inversePower(e study.Ear) []float64 {
	if t.inverse[e] == nil {
		return t.inverse[left]
	}
	return t.inverse[e]
}

// noiseFromRepeats takes the scatter of the repeats about their mean.
func (t *take) noiseFromRepeats(b *desk, e study.Ear, used int) noiseSpectrum {
	p := t.p
	clear(b.density)
	for k, w := range t.keep {
		if w == 0 {
			continue
		}
		for i, v := range t.spectrum(k, int(e)) {
			d := v - b.mean[i]
			b.density[i] += real(d)*real(d) + imag(d)*imag(d)
		}
	}
	seconds := float64(p.segment) / p.rate * float64(used-1)
	bands, freedom := p.widened(seconds)
	out := noiseSpectrum{make([]float64, len(p.bands)), freedom}
	deconv.MeanOver(out.density, b.density, p.rate/float64(p.n), bands)
	for i := range out.density {
		out.density[i] /= float64(used-1) * float64(p.segment)
	}
	return out
}

// noiseFromRest takes what the windows leave of the impulse response. Late
// reverberation and higher harmonics count as noise there.
func (t *take) noiseFromRest(b *desk, whole int) noiseSpectrum {
	p := t.p
	if p.smooth != nil {
		return t.noiseOf(b, b.misfit, float64(len(p.window)))
	}
	at := func(i int) int { return ((i % p.n) + p.n) % p.n }
	copy(b.segment, b.impulse)
	for i, w := range p.window {
		b.segment[at(whole-p.pre+i)] *= 1 - w
	}
	gone := float64(len(p.window))
	for _, h := range p.orders {
		for i := range h.window {
			b.segment[at(whole-h.lead-h.before+i)] = 0
		}
		gone += float64(len(h.window))
	}
	b.fft.Forward(b.mean, b.segment)
	return t.noiseOf(b, b.mean, gone)
}

// noiseOf returns the noise whose spectrum is given; gone samples of it were
// taken out.
func (t *take) noiseOf(b *desk, spectrum []complex128, gone float64) noiseSpectrum {
	p := t.p
	for i, v := range spectrum {
		b.density[i] = real(v)*real(v) + imag(v)*imag(v)
	}
	recorded := min(p.segment, t.total-t.cut[t.firstKept()]) // the file may end early
	left := max(float64(recorded)-gone, 1)
	bands, freedom := p.widened(left / p.rate)
	out := noiseSpectrum{make([]float64, len(p.bands)), freedom}
	deconv.MeanOver(out.density, b.density, p.rate/float64(p.n), bands)
	for i := range out.density {
		out.density[i] /= left
	}
	return out
}

func (t *take) firstKept() int {
	for k, w := range t.keep {
		if w > 0 {
			return k
		}
	}
	return 0
}
