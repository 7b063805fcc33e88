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

// preparePlain decides how the excitation is divided out. Where its power
// varies smoothly with frequency, as a sweep's does, the quotient of the
// spectra is the response. Noise and music have bins with next to no power
// between strong ones; there the response is the least-squares fit of an
// impulse response as long as the window (see solve), and smooth holds the
// excitation's power averaged over neighbouring bins.
func (c *constants) preparePlain() {
	if c.design {
		return
	}
	smooth := smoothPower(c.spectrum, c.smoothWidth())
	sum, count := 0.0, 0
	for k, v := range c.spectrum {
		f := float64(k) * c.rate / float64(c.n)
		if f < c.lowHz || f > c.highHz || smooth[k] == 0 {
			continue
		}
		d := (real(v)*real(v)+imag(v)*imag(v))/smooth[k] - 1
		sum += d * d
		count++
	}
	if count > 0 && sum/float64(count) > 0.1 {
		c.smooth = smooth
	}
}

// smoothWidth is how many bins on either side are averaged: several times the
// resolution that the window leaves.
func (c *constants) smoothWidth() int { return max(8, 2*c.n/len(c.window)) }

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

// solve finds the impulse response h, within the window's reach about the
// sample whole, that minimises
//
//	Σ |Y − H·X|² / S
//
// over the band, with S the smoothed power of the excitation: the averaged
// cross-spectrum over the averaged auto-spectrum (Bendat and Piersol, Random
// Data), without the bias that finite averages leave in either. On entry b.impulse holds
// the transform of X*·Y/S and b.mean its spectrum. The normal equations are
// solved by conjugate gradients (Hestenes and Stiefel, J. Res. NBS 49(6),
// 1952), which need one product with the excitation per step. On return
// b.impulse holds h and b.misfit the spectrum X*·(Y − H·X)/S.
func (t *take) solve(b *desk, whole int) {
	p, power := t.p, t.p.buf.power2
	n, size := p.n, len(p.window)
	at := func(i int) int { return (((whole - p.pre + i) % n) + n) % n }
	seq, spec := make([]float64, n), make([]complex128, p.bins())
	product := func(dst, h []float64) {
		clear(seq)
		for i, v := range h {
			seq[at(i)] = v
		}
		b.fft.Forward(spec, seq)
		for k := range spec {
			spec[k] *= complex(power[k], 0)
		}
		b.fft.Inverse(seq, spec)
		for i := range dst {
			dst[i] = seq[at(i)]
		}
	}
	h, r, d, q := make([]float64, size), make([]float64, size), make([]float64, size), make([]float64, size)
	for i := range r {
		r[i] = b.impulse[at(i)]
	}
	copy(d, r)
	rr := dot(r, r)
	for range solveSteps {
		product(q, d)
		dq := dot(d, q)
		if !(dq > 0) {
			break
		}
		a := rr / dq
		for i := range h {
			h[i] += a * d[i]
			r[i] -= a * q[i]
		}
		next := dot(r, r)
		if next < solveTolerance*solveTolerance*dot(h, h) {
			break
		}
		for i := range d {
			d[i] = r[i] + next/rr*d[i]
		}
		rr = next
	}
	clear(b.impulse)
	for i, v := range h {
		b.impulse[at(i)] = v
	}
	b.fft.Forward(spec, b.impulse)
	for k := range spec {
		spec[k] = b.mean[k] - spec[k]*complex(power[k], 0)
	}
	b.misfit = spec
}

// spread returns, per band, by how much the fit widens the noise over what
// there is of it in X*·Y/S. With the power P = |X|²/S and the density
// Q = |X|²·Φ/S² of that noise, both averaged over the resolution of a response
// as long as the window, the variance of H is about Q/P²: more than Q where the
// excitation has gaps. For white noise its mean is m/(m−1) with m bins per
// resolution, that of the inverse of a gamma variable.
func (t *take) spread(b *desk) []float64 {
	p := t.p
	power, inverse := t.p.buf.power2, t.p.buf.inverse
	width := max(1, p.n/len(p.window)/2)
	sumP, sumQ := make([]float64, len(power)+1), make([]float64, len(power)+1)
	for k, v := range power {
		q := inverse[k]
		sumP[k+1] = sumP[k] + v
		sumQ[k+1] = sumQ[k] + real(q)*real(q) + imag(q)*imag(q)
		b.density[k] = real(q)*real(q) + imag(q)*imag(q)
	}
	all, out := make([]float64, len(p.bands)), make([]float64, len(p.bands))
	step := p.rate / float64(p.n)
	deconv.MeanOver(all, b.density, step, p.bands)
	for k := range power {
		lo, hi := max(0, k-width), min(len(power), k+width+1)
		m := float64(hi - lo)
		mean := (sumP[hi] - sumP[lo]) / m
		b.density[k] = 0
		if mean > leastPower {
			b.density[k] = (sumQ[hi] - sumQ[lo]) / m / (mean * mean)
		}
	}
	deconv.MeanOver(out, b.density, step, p.bands)
	for i, a := range all {
		if a > 0 {
			out[i] = max(1, out[i]/a)
		} else {
			out[i] = 1
		}
	}
	return out
}

// leastPower is what the excitation must have of its own mean in a place.
const leastPower = 1e-3

// coherence returns, per band, the share of the power at the microphone that
// the response explains.
func (t *take) coherence(b *desk) []float64 {
	p := t.p
	rest, all := make([]float64, len(p.bands)), make([]float64, len(p.bands))
	step := p.rate / float64(p.n)
	for k, v := range b.misfit {
		b.density[k] = real(v)*real(v) + imag(v)*imag(v)
	}
	deconv.MeanOver(rest, b.density, step, p.bands)
	for k, v := range b.mean {
		b.density[k] = real(v)*real(v) + imag(v)*imag(v)
	}
	deconv.MeanOver(all, b.density, step, p.bands)
	for i := range all {
		if all[i] > 0 {
			all[i] = max(0, 1-rest[i]/all[i])
		}
	}
	return all
}

const (
	solveSteps     = 60
	solveTolerance = 1e-7
)

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
