package excitation

import (
	"fmt"
	"math"
	"math/cmplx"
	"sync"

	"asworn/capture/deconv"
	"asworn/capture/exposure"
	"asworn/capture/samples"
	"asworn/capture/study"
)

// startles reports whether the excitation itself breaks, at half the limit.
func (c *Plan) startles() bool {
	peak := 0.0
	for _, v := range c.X {
		peak = max(peak, math.Abs(v))
	}
	return len(samples.BreakSearch{RateHz: c.RateHz, Turn: c.Turn}.Find(c.X, 0, 0, len(c.X), peak, samples.LapseRatio/2)) > 0
}

// prepareTurn works out 2·cos ω of a sweep at each of its samples.
func (c *Plan) prepareTurn() {
	if !c.Design {
		return
	}
	d := c.Setup.Sweep
	c.Turn = make([]float64, len(c.X))
	for n := range c.Turn {
		f := d.StartHz * math.Exp(float64(n)/d.RateHz/d.Rate())
		c.Turn[n] = 2 * math.Cos(2*math.Pi*f/d.RateHz)
	}
}

// prepareSpectra works out all that is constant per bin of the transform.
func (c *Plan) prepareSpectra() error {
	fft := deconv.NewFFT(c.N)
	c.Fft = fft
	seq := make([]float64, c.N)
	copy(seq[c.Preroll:], c.X)
	c.Spectrum = make([]complex128, fft.Bins())
	fft.Forward(c.Spectrum, seq)
	c.Energy = deconv.Energy(c.Spectrum)
	if !c.Design {
		c.LowHz, c.HighHz = contentEdges(c.Spectrum, c.RateHz/float64(c.N))
	}
	c.preparePassing(fft, seq)
	step := c.RateHz / float64(c.N)
	c.pass = make([]float64, fft.Bins())
	c.AWeight = make([]float64, fft.Bins())
	var beside sync.WaitGroup
	defer beside.Wait()
	beside.Go(func() {
		for k := range c.pass {
			f := float64(k) * step
			c.pass[k] = passBand(f, c.LowHz, c.HighHz, c.RateHz)
			if k > 0 {
				c.AWeight[k] = math.Pow(10, exposure.AWeightDB(f)/10)
			}
		}
	})
	for e, m := range c.Setup.Microphones {
		if c.Channel[e] < 0 || len(m.Response.Hz) == 0 {
			continue
		}
		if err := m.Response.Check(); err != nil {
			return fmt.Errorf("capture: response of the %s microphone: %w", study.Ear(e), err)
		}
		response := m.Response.Unwrapped()
		c.Correct[e] = make([]complex128, fft.Bins())
		for k := range c.Correct[e] {
			c.Correct[e][k] = 1 / response.At(float64(k)*step)
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

// preparePassing works out when the excitation passes each frequency: the
// group delay of its spectrum, smoothed over a twelfth of an octave. That
// means something for a sweep, whose delay grows steadily with frequency, and
// nothing for noise or music; passing stays nil for those.
func (c *Plan) preparePassing(fft *deconv.FFT, seq []float64) {
	passing := make([]float64, len(c.Spectrum))
	step := c.RateHz / float64(c.N)
	if c.Design {
		for k := 1; k < len(passing); k++ {
			passing[k] = c.Setup.Sweep.TimeOf(float64(k) * step)
		}
		c.Passing = passing
		return
	}
	moment := make([]float64, c.N)
	for i := range c.X {
		moment[i+c.Preroll] = float64(i) * seq[i+c.Preroll]
	}
	slope := make([]complex128, fft.Bins())
	fft.Forward(slope, moment)
	// Sums of |X|²·delay and |X|², to average over any range.
	delay, power := make([]float64, len(slope)+1), make([]float64, len(slope)+1)
	for k, v := range slope {
		// The transform has the sweep start at the preroll; the moment counts
		// from its first sample, so the turn cancels.
		x := c.Spectrum[k]
		delay[k+1] = delay[k] + real(v*cmplx.Conj(x))
		power[k+1] = power[k] + real(x*cmplx.Conj(x))
	}
	low, high := int(c.LowHz/step)+1, int(c.HighHz/step)
	up, down, last := 0, 0, 0.0
	for k := 1; k < len(passing); k++ {
		a := int(float64(k) / 1.03)
		b := min(int(float64(k)*1.03)+2, len(slope))
		if p := power[b] - power[a]; p > 0 {
			passing[k] = (delay[b] - delay[a]) / p / c.RateHz
		}
	}
	for f := max(float64(low), 20/step); f < float64(high)*0.9; f *= 1.06 {
		t := passing[int(f)]
		if last != 0 && t > last {
			up++
		} else if last != 0 {
			down++
		}
		last = t
	}
	if up > 20*down || down > 20*up {
		c.Passing = passing
	}
}

// preparePlain decides how the excitation is divided out. Where its power
// varies smoothly with frequency, as a sweep's does, the quotient of the
// spectra is the response. Noise and music have bins with next to no power
// between strong ones; there the response is the least-squares fit of an
// impulse response as long as the window (see solve), and smooth holds the
// excitation's power averaged over neighbouring bins.
func (c *Plan) preparePlain() {
	if c.Design {
		return
	}
	smooth := smoothPower(c.Spectrum, c.smoothWidth())
	sum, count := 0.0, 0
	for k, v := range c.Spectrum {
		f := float64(k) * c.RateHz / float64(c.N)
		if f < c.LowHz || f > c.HighHz || smooth[k] == 0 {
			continue
		}
		d := (real(v)*real(v)+imag(v)*imag(v))/smooth[k] - 1
		sum += d * d
		count++
	}
	if count > 0 && sum/float64(count) > 0.1 {
		c.Smooth = smooth
	}
}

// smoothWidth is how many bins on either side are averaged: several times the
// resolution that the window leaves.
func (c *Plan) smoothWidth() int { return max(8, 2*c.N/len(c.Window)) }

// smoothPower returns |x|² averaged over 2·width+1 bins.
func smoothPower(x []complex128, width int) []float64 {
	cum := make([]float64, len(x)+1)
	for k, v := range x {
		cum[k+1] = cum[k] + real(v)*real(v) + imag(v)*imag(v)
	}
	out := make([]float64, len(x))
	for k := range out {
		a, b := max(0, k-width), min(len(x), k+width+1)
		out[k] = (cum[b] - cum[a]) / float64(b-a)
	}
	return out
}
