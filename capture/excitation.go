package capture

import (
	"math/cmplx"

	"asworn/capture/deconv"
)

// preparePassing works out when the excitation passes each frequency: the
// group delay of its spectrum, smoothed over a twelfth of an octave. That
// means something for a sweep, whose delay grows steadily with frequency, and
// nothing for noise or music; passing stays nil for those.
func (c *constants) preparePassing(fft *deconv.FFT, seq []float64) {
	passing := make([]float64, len(c.spectrum))
	step := c.rate / float64(c.n)
	if c.design {
		for k := 1; k < len(passing); k++ {
			passing[k] = c.setup.Sweep.TimeOf(float64(k) * step)
		}
		c.passing = passing
		return
	}
	moment := make([]float64, c.n)
	for i := range c.x {
		moment[i+c.preroll] = float64(i) * seq[i+c.preroll]
	}
	slope := make([]complex128, fft.Bins())
	fft.Forward(slope, moment)
	// Sums of |X|²·delay and |X|², to average over any range.
	delay, power := make([]float64, len(slope)+1), make([]float64, len(slope)+1)
	for k, v := range slope {
		// The transform has the sweep start at the preroll; the moment counts
		// from its first sample, so the turn cancels.
		x := c.spectrum[k]
		delay[k+1] = delay[k] + real(v*cmplx.Conj(x))
		power[k+1] = power[k] + real(x*cmplx.Conj(x))
	}
	low, high := int(c.lowHz/step)+1, int(c.highHz/step)
	up, down, last := 0, 0, 0.0
	for k := 1; k < len(passing); k++ {
		a := int(float64(k) / 1.03)
		b := min(int(float64(k)*1.03)+2, len(slope))
		if p := power[b] - power[a]; p > 0 {
			passing[k] = (delay[b] - delay[a]) / p / c.rate
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
		c.passing = passing
	}
}
