package capture

import (
	"fmt"
	"math"

	"asworn/capture/deconv"
	"asworn/capture/exposure"
	"asworn/capture/study"
)

// prepareSpectra works out all that is constant per bin of the transform.
func (c *constants) prepareSpectra() error {
	fft := deconv.NewFFT(c.n)
	c.fft = fft
	seq := make([]float64, c.n)
	copy(seq[c.preroll:], c.x)
	c.spectrum = make([]complex128, fft.Bins())
	fft.Forward(c.spectrum, seq)
	c.energy = energy(c.spectrum)
	if !c.design {
		c.lowHz, c.highHz = contentEdges(c.spectrum, c.rate/float64(c.n))
	}
	c.preparePassing(fft, seq)
	step := c.rate / float64(c.n)
	c.pass = make([]float64, fft.Bins())
	c.aWeight = make([]float64, fft.Bins())
	for k := range c.pass {
		f := float64(k) * step
		c.pass[k] = passBand(f, c.lowHz, c.highHz, c.rate)
		if k > 0 {
			c.aWeight[k] = math.Pow(10, exposure.AWeightDB(f)/10)
		}
	}
	for e, m := range c.setup.Microphones {
		if c.channel[e] < 0 || len(m.Response.Hz) == 0 {
			continue
		}
		if err := m.Response.Check(); err != nil {
			return fmt.Errorf("capture: response of the %s microphone: %w", study.Ear(e), err)
		}
		response := m.Response.Unwrapped()
		c.correct[e] = make([]complex128, fft.Bins())
		for k := range c.correct[e] {
			c.correct[e][k] = 1 / response.At(float64(k)*step)
		}
	}
	return nil
}

// passBand is 1 from low to high, and falls as half a Hann window over the
// octave below and the quarter octave above (or up to half the rate).
func passBand(f, low, high, rate float64) float64 {
	if f <= 0 {
		return 0
	}
	above := min(high*math.Pow(2, 0.25), rate/2)
	down := 1.0
	if f > high {
		down = deconv.Smoothstep(math.Log(above/f) / math.Log(above/high))
	}
	return down * deconv.Smoothstep(math.Log2(2*f/low))
}

// contentEdges returns the lowest and the highest frequency at which the
// excitation, smoothed over a sixth of an octave, is within 60 dB of its
// strongest part.
func contentEdges(spectrum []complex128, step float64) (low, high float64) {
	cum := make([]float64, len(spectrum)+1)
	for k, v := range spectrum {
		cum[k+1] = cum[k] + real(v)*real(v) + imag(v)*imag(v)
	}
	r := math.Pow(2, 1.0/12)
	density := func(k int) float64 {
		a, b := int(float64(k)/r), min(int(float64(k)*r)+1, len(spectrum))
		return (cum[b] - cum[a]) / float64(b-a)
	}
	peak := 0.0
	for k := 1; k < len(spectrum); k++ {
		peak = max(peak, density(k))
	}
	first, last := len(spectrum), 0
	for k := 1; k < len(spectrum); k++ {
		if density(k) >= 1e-6*peak {
			first, last = min(first, k), k
		}
	}
	return float64(first) * step, float64(last) * step
}

// Default window lengths; docs/capture.md says why.
const (
	defaultPre         = 0.2
	defaultPreForeign  = 0.05
	defaultPost        = 0.5
	defaultFadeInPart  = 0.5
	defaultFadeOutPart = 0.25
)

func (c *constants) prepareWindow() error {
	w := c.setup.Window
	if w.PreSeconds == 0 {
		w.PreSeconds = defaultPreForeign
		if c.design {
			w.PreSeconds = min(defaultPre, 0.7*c.setup.Sweep.HarmonicLead(2))
		}
	}
	if w.PostSeconds == 0 {
		w.PostSeconds = min(defaultPost, max(0.02, float64(c.tail)/c.rate-prerollSeconds))
	}
	if w.FadeInSeconds == 0 {
		w.FadeInSeconds = defaultFadeInPart * w.PreSeconds
	}
	if w.FadeOutSeconds == 0 {
		w.FadeOutSeconds = defaultFadeOutPart * w.PostSeconds
	}
	if !(w.PreSeconds > 0 && w.PostSeconds > 0 && w.FadeInSeconds >= 0 && w.FadeOutSeconds >= 0 &&
		w.FadeInSeconds <= w.PreSeconds && w.FadeOutSeconds <= w.PostSeconds) {
		return fmt.Errorf("capture: window %+v: lengths must be positive and fades not longer than their side", w)
	}
	c.setup.Window = w
	s := func(v float64) int { return int(math.Round(v * c.rate)) }
	c.pre, c.post = s(w.PreSeconds), s(w.PostSeconds)
	if c.pre+c.post > c.n {
		return fmt.Errorf("capture: a window of %g s does not fit a sweep of %g s", w.PreSeconds+w.PostSeconds, float64(c.n)/c.rate)
	}
	c.window = deconv.Tukey(c.pre+c.post, s(w.FadeInSeconds), s(w.FadeOutSeconds))
	for _, v := range c.window {
		c.sumW2 += v * v
		c.sumW4 += v * v * v * v
	}
	c.preparePlain()
	c.prepareKappa()
	c.prepareHarmonics()
	return nil
}
