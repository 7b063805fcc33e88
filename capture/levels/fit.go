package levels

import (
	"asworn/capture/deconv"
	"asworn/capture/take"

	"gonum.org/v1/gonum/floats"
)

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
func solve(t *take.Take, b *take.Desk, whole int) {
	p, power := t.Bench, t.Bench.Buf.Power2
	n, size := p.N, len(p.Window)
	at := func(i int) int { return (((whole - p.Pre + i) % n) + n) % n }
	seq, spec := make([]float64, n), make([]complex128, p.Bins())
	product := func(dst, h []float64) {
		clear(seq)
		for i, v := range h {
			seq[at(i)] = v
		}
		b.FFT.Forward(spec, seq)
		for k := range spec {
			spec[k] *= complex(power[k], 0)
		}
		b.FFT.Inverse(seq, spec)
		for i := range dst {
			dst[i] = seq[at(i)]
		}
	}
	h, r, d, q := make([]float64, size), make([]float64, size), make([]float64, size), make([]float64, size)
	for i := range r {
		r[i] = b.Impulse[at(i)]
	}
	copy(d, r)
	rr := floats.Dot(r, r)
	for range solveSteps {
		product(q, d)
		dq := floats.Dot(d, q)
		if !(dq > 0) {
			break
		}
		a := rr / dq
		for i := range h {
			h[i] += a * d[i]
			r[i] -= a * q[i]
		}
		next := floats.Dot(r, r)
		if next < solveTolerance*solveTolerance*floats.Dot(h, h) {
			break
		}
		for i := range d {
			d[i] = r[i] + next/rr*d[i]
		}
		rr = next
	}
	clear(b.Impulse)
	for i, v := range h {
		b.Impulse[at(i)] = v
	}
	b.FFT.Forward(spec, b.Impulse)
	for k := range spec {
		spec[k] = b.Mean[k] - spec[k]*complex(power[k], 0)
	}
	b.Misfit = spec
}

// noiseSpread returns, per band, by how much the fit widens the noise over what
// there is of it in X*·Y/S. With the power P = |X|²/S and the density
// Q = |X|²·Φ/S² of that noise, both averaged over the resolution of a response
// as long as the window, the variance of H is about Q/P²: more than Q where the
// excitation has gaps. For white noise its mean is m/(m−1) with m bins per
// resolution, that of the inverse of a gamma variable.
func noiseSpread(t *take.Take, b *take.Desk) []float64 {
	p := t.Bench
	power, inverse := t.Bench.Buf.Power2, t.Bench.Buf.Inverse
	width := max(1, p.N/len(p.Window)/2)
	sumP, sumQ := make([]float64, len(power)+1), make([]float64, len(power)+1)
	for k, v := range power {
		q := inverse[k]
		sumP[k+1] = sumP[k] + v
		sumQ[k+1] = sumQ[k] + real(q)*real(q) + imag(q)*imag(q)
		b.Density[k] = real(q)*real(q) + imag(q)*imag(q)
	}
	all, out := make([]float64, len(p.Bands)), make([]float64, len(p.Bands))
	step := p.RateHz / float64(p.N)
	deconv.MeanOver(all, b.Density, step, p.Bands)
	for k := range power {
		lo, hi := max(0, k-width), min(len(power), k+width+1)
		m := float64(hi - lo)
		mean := (sumP[hi] - sumP[lo]) / m
		b.Density[k] = 0
		if mean > leastPower {
			b.Density[k] = (sumQ[hi] - sumQ[lo]) / m / (mean * mean)
		}
	}
	deconv.MeanOver(out, b.Density, step, p.Bands)
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
func coherence(t *take.Take, b *take.Desk) []float64 {
	p := t.Bench
	rest, all := make([]float64, len(p.Bands)), make([]float64, len(p.Bands))
	step := p.RateHz / float64(p.N)
	deconv.MeanPowerOver(rest, b.Misfit, step, p.Bands)
	deconv.MeanPowerOver(all, b.Mean, step, p.Bands)
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
