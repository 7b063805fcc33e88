package samples

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/floats"
)

// Hum returns the mains frequency of which more is there, in Hz, and the power
// of its harmonics in the pieces, those that stand out of what is beside them. Power below
// least may be given as 0: what is beside the lines is looked at only where all of them
// together have more.
func Hum(pieces [][]float64, rate, least float64) (mains int, power float64) {
	mains = 50
	factor := max(1, int(rate/humRateHz))
	var low [][]float64
	var total, squares, count float64
	for _, piece := range pieces {
		squares, count = squares+floats.Dot(piece, piece), count+float64(len(piece))
	}
	// Smoothing adds no power, and of n samples a line has 2·|Σ hx|²/n² ≤ 2·Σh²·Σx²/n², where
	// Σh² of the window is 1.5·n.
	if 3*humLines*squares < least*count {
		return mains, 0
	}
	for _, piece := range pieces {
		slow := Decimate(nil, piece, factor)
		hann(slow)
		low, total = append(low, slow), total+float64(len(slow))
	}
	if total == 0 {
		return mains, 0
	}
	powers := func(hz []float64) []float64 {
		out := make([]float64, len(hz))
		for i := range hz {
			hz[i] /= rate / float64(factor)
		}
		for _, x := range low {
			for i, v := range linePowers(x, hz) {
				out[i] += float64(len(x)) * v
			}
		}
		return out
	}
	var hz []float64
	for k := range humLines {
		hz = append(hz, 50*float64(k+1), 60*float64(k+1))
	}
	lines := powers(hz)
	for m, hz := range [2]int{50, 60} {
		all := 0.0
		for k := range humLines {
			all += lines[2*k+m] / total
		}
		if all < max(least, power) {
			continue
		}
		var between []float64
		for k := range humLines + 1 {
			between = append(between, float64(hz)/2*float64(2*k+1))
		}
		beside, sum := powers(between), 0.0
		for k := range humLines {
			if l := lines[2*k+m]; l > humOverFloor*(beside[k]+beside[k+1])/2 {
				sum += l / total
			}
		}
		if sum > power {
			mains, power = hz, sum
		}
	}
	return mains, power
}

// hann puts a Hann window whose mean is 1 on x. Its cosine is advanced by
// rotation, good to 1e-11 over the length of a silence.
func hann(x []float64) {
	angle := math.Pi / float64(len(x))
	z, turn := cmplx.Rect(1, angle), cmplx.Rect(1, 2*angle)
	for i := range x {
		x[i] *= 1 - real(z)
		z *= turn
	}
}

// linePowers returns the powers of sines of f cycles per sample in a windowed
// signal (G. Goertzel, Amer. Math. Monthly 65, 1958). Each recursion waits for
// its own last step, so several go side by side.
func linePowers(x, f []float64) []float64 {
	const side = 6
	out := make([]float64, 0, len(f)+side)
	for at := 0; at < len(f); at += side {
		var c [side]float64
		for i := range c {
			c[i] = 2 * math.Cos(2*math.Pi*f[min(at+i, len(f)-1)])
		}
		c0, c1, c2, c3, c4, c5 := c[0], c[1], c[2], c[3], c[4], c[5]
		var a0, a1, a2, a3, a4, a5, b0, b1, b2, b3, b4, b5 float64
		for _, v := range x {
			a0, b0 = v+c0*a0-b0, a0
			a1, b1 = v+c1*a1-b1, a1
			a2, b2 = v+c2*a2-b2, a2
			a3, b3 = v+c3*a3-b3, a3
			a4, b4 = v+c4*a4-b4, a4
			a5, b5 = v+c5*a5-b5, a5
		}
		a, b := [side]float64{a0, a1, a2, a3, a4, a5}, [side]float64{b0, b1, b2, b3, b4, b5}
		n := float64(len(x))
		for i := range c {
			out = append(out, 2*(a[i]*a[i]+b[i]*b[i]-c[i]*a[i]*b[i])/(n*n))
		}
	}
	return out[:len(f)]
}

// How hum is told. Common practice, no source.
const (
	humLines     = 8    // harmonics of the mains that are looked at
	humOverFloor = 10.0 // power of a line over that beside it
	humRateHz    = 4000 // least rate to which silences are decimated
)
