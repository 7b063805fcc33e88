package clock

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/deconv"
	"asworn/capture/take"
)

// clock estimates the drift of a recording with one repeat from the sweep
// itself. A recorder that runs fast by d hears what the sweep does at time t
// later by d·t; divided by the sweep as designed, the response gets a group
// delay d·t(f) that grows with the time t(f) at which the sweep passes f, its own group delay. The
// response's own group delay is taken out as that of the minimum-phase system
// of the same magnitude (by the real cepstrum: Oppenheim and Schafer,
// Discrete-Time Signal Processing, chapter on the complex cepstrum), which a
// loopback is and an earphone on an ear nearly is; what it is not goes into
// the standard error, because the regression sees it as scatter.
func Single(t *take.Take) {
	p := t.Bench
	if len(t.Cut) != 1 {
		return
	}
	if p.Passing == nil {
		clockOfBlocks(t)
		return
	}
	var best struct{ d, se float64 }
	best.se = math.Inf(1)
	for _, role := range []int{take.Loopback, take.Left, take.Right} {
		if t.X[role] == nil {
			continue
		}
		if d, se, ok := OfSweep(t, role); ok && se < best.se {
			best.d, best.se = d, se
		}
		if role == take.Loopback {
			break
		}
	}
	if math.IsInf(best.se, 1) {
		return
	}
	t.Rec.DriftPPM, t.Rec.DriftSEPPM = best.d*1e6, best.se*1e6
	if math.Abs(best.d) > 3*best.se {
		allow(t, best.d)
	}
}

// clockOfBlocks estimates the drift from an excitation that holds all
// frequencies all the time, such as noise or music: block by block, the
// cross-spectrum of recording and excitation has the phase of the response,
// which is the same in all, and that of the delay, which grows with the drift.
func clockOfBlocks(t *take.Take) {
	p := t.Bench
	size := deconv.FastLen(int(blockSeconds * p.RateHz))
	count := len(p.X) / size
	if count < 3 {
		return
	}
	fft := deconv.NewFFT(size)
	window := deconv.Tukey(size, size/2, size/2)
	seq, x := make([]float64, size), make([]complex128, fft.Bins())
	cross := func(block int, y []float64) []complex128 {
		from := block * size
		for i, w := range window {
			seq[i] = w * p.X[from+i]
		}
		fft.Forward(x, seq)
		from += t.Cut[0] + p.Preroll
		for i, w := range window {
			seq[i] = 0
			if j := from + i; j >= 0 && j < t.Total {
				seq[i] = w * y[j]
			}
		}
		out := make([]complex128, fft.Bins())
		fft.Forward(out, seq)
		for k := range out {
			out[k] *= cmplx.Conj(x[k])
		}
		return out
	}
	heard := t.Ears()
	if y := t.X[take.Loopback]; y != nil {
		heard = [][]float64{y}
	}
	var first [][]complex128
	var rows, delays []float64
	last := 0.0
	for i := range count {
		var now [][]complex128
		for _, y := range heard {
			now = append(now, cross(i, y))
		}
		if i == 0 {
			first = now
		}
		// From one block to the next the delay changes little: start there.
		for _, c := range now {
			deconv.Advance(c, last, size)
		}
		d, se := phaseDelay(first, now, size, p.LowHz/p.RateHz, p.HighHz/p.RateHz)
		if math.IsInf(se, 1) {
			continue
		}
		last += d
		rows = append(rows, 1, float64(i*size))
		delays = append(delays, last)
	}
	if len(delays) < 3 {
		return
	}
	d, se, ok := slopeOf(mat.NewDense(len(delays), 2, rows), mat.NewVecDense(len(delays), delays))
	if !ok {
		return
	}
	t.Rec.DriftPPM, t.Rec.DriftSEPPM = d*1e6, se*1e6
	if math.Abs(d) > 3*se {
		allow(t, d)
	}
}

// blockSeconds is the length of the blocks: long against the response, short
// against the time in which a drift shifts the sound by a sample.
const blockSeconds = 0.35

// excessDelay is the standard deviation of what the group delay of an earphone
// on a real ear keeps beyond that of its minimum phase, from 300 Hz to 16 kHz,
// in seconds: 80 µs root mean square over the ten seatings of
// testdata/reseat, whose recorder had the clock of the player.
const excessDelay = 100e-6

// The range in which the sweep's own delay is read, Hz: below it the delay of
// the response itself is large, above it the minimum phase is uncertain since
// the magnitude ends.
const (
	driftFromHz = 300
	driftToHz   = 16000
	driftBlocks = 6 // per octave
)

// driftOf regresses the excess group delay of one channel on the time of the
// sweep. The standard error is that of the regression, blocks a sixth of an
// octave wide counting as independent.
func OfSweep(t *take.Take, role int) (d, se float64, ok bool) {
	p, b := t.Bench, t.Bench.Own
	p.Invert(b.Mean, p.Spectrum)
	for i, v := range t.Spectrum(0, role) {
		b.Mean[i] *= v
	}
	b.FFT.Inverse(b.Impulse, b.Mean)
	whole := int(math.Floor(t.Onset(b.Impulse)))
	half := int(0.1 * p.RateHz)
	n := deconv.FastLen(4 * half)
	fft := deconv.NewFFT(n)
	// The response, with the direct sound at sample 0; time runs from −half to
	// half.
	h, th := make([]float64, n), make([]float64, n)
	w := deconv.Tukey(2*half, half, half)
	for i := range w {
		j := i - half
		v := w[i] * b.Impulse[(((whole+j)%p.N)+p.N)%p.N]
		h[((j%n)+n)%n] = v
		th[((j%n)+n)%n] = v * float64(j)
	}
	spec, slope := make([]complex128, fft.Bins()), make([]complex128, fft.Bins())
	fft.Forward(spec, h)
	fft.Forward(slope, th)
	low := make([]float64, fft.Bins())
	if role != take.Loopback {
		low = minimumPhaseDelay(fft, spec, int(max(p.LowHz, 20)/p.RateHz*float64(n)), int(min(p.HighHz, p.RateHz/2)*0.98/p.RateHz*float64(n)))
	}

	// One row per block: a constant, the time of the sweep and, for an ear,
	// what a slope of the magnitude below the band does to the delay within,
	// which falls as 1/f².
	columns := 2
	if role != take.Loopback {
		columns = 3
	}
	var rows, delays []float64
	ratio := math.Pow(2, 1.0/driftBlocks)
	for f := max(driftFromHz, 4*p.LowHz); f*ratio < min(driftToHz, 0.8*p.HighHz); f *= ratio {
		var delay, weight, when float64
		for k := int(f / p.RateHz * float64(n)); k < int(f*ratio/p.RateHz*float64(n)); k++ {
			m := real(spec[k])*real(spec[k]) + imag(spec[k])*imag(spec[k])
			if m == 0 {
				continue
			}
			delay += real(slope[k]*cmplx.Conj(spec[k])) - m*low[k]
			when += m * p.Passing[int(float64(k)/float64(n)*float64(p.N)+0.5)]
			weight += m
		}
		if weight == 0 {
			continue
		}
		low := driftFromHz / f
		rows = append(rows, []float64{1, when / weight, low * low}[:columns]...)
		delays = append(delays, delay/weight/p.RateHz)
	}
	if len(delays) < 8 {
		return 0, 0, false
	}
	d, se, ok = slopeOf(mat.NewDense(len(delays), columns, rows), mat.NewVecDense(len(delays), delays))
	if role != take.Loopback {
		span := rows[len(rows)-columns+1] - rows[1]
		se = math.Hypot(se, excessDelay/math.Abs(span))
	}
	return d, se, ok
}

// slopeOf returns the coefficient of column 1 of a least-squares fit and its
// standard error. Neighbouring residuals of a smooth misfit are alike; what
// they are worth together follows from their correlation, as for a first-order
// autoregressive process.
func slopeOf(a *mat.Dense, y *mat.VecDense) (slope, se float64, ok bool) {
	var qr mat.QR
	qr.Factorize(a)
	var x, fit mat.VecDense
	if qr.SolveVecTo(&x, false, y) != nil {
		return 0, 0, false
	}
	fit.MulVec(a, &x)
	scatter, along, last := 0.0, 0.0, 0.0
	for i := range y.Len() {
		r := y.AtVec(i) - fit.AtVec(i)
		scatter += r * r
		along += r * last
		last = r
	}
	var normal, inverse mat.Dense
	normal.Mul(a.T(), a)
	if inverse.Inverse(&normal) != nil {
		return 0, 0, false
	}
	rows, columns := a.Dims()
	alike := max(0, min(along/max(scatter, 1e-300), 0.95))
	variance := scatter / float64(rows-columns) * inverse.At(1, 1) * (1 + alike) / (1 - alike)
	return x.AtVec(1), math.Sqrt(variance), true
}

// minimumPhaseDelay returns, per bin, the group delay in samples of the
// minimum-phase system with the magnitude of spec. Outside the bins low to
// high the magnitude is held at its value there.
func minimumPhaseDelay(fft *deconv.FFT, spec []complex128, low, high int) []float64 {
	n := fft.Len()
	logs := make([]complex128, len(spec))
	for k := range spec {
		a := cmplx.Abs(spec[max(low, min(k, high))])
		logs[k] = complex(math.Log(max(a, 1e-300)), 0)
	}
	c := make([]float64, n)
	fft.Inverse(c, logs)
	// Folded to positive times it is the complex cepstrum; its time moment
	// transforms to the group delay.
	for i := range c {
		switch {
		case i == 0 || i > n/2:
			c[i] = 0
		case i < n/2:
			c[i] *= 2 * float64(i)
		default:
			c[i] *= float64(i)
		}
	}
	fft.Forward(logs, c)
	out := make([]float64, len(spec))
	for k, v := range logs {
		out[k] = real(v)
	}
	return out
}
