package samples

import (
	"math"
	"math/cmplx"
)

// Hum returns the mains frequency of which more is there, in Hz, and the power
// of its harmonics in the pieces, those that stand out of what is beside them.
func Hum(pieces [][]float64, rate float64) (mains int, power float64) {
	factor := max(1, int(rate/humRateHz))
	slow := rate / float64(factor)
	var low []float64
	var lines [2][humLines]struct{ line, beside float64 }
	total := 0.0
	for _, piece := range pieces {
		low = Decimate(low, piece, factor)
		weight := float64(len(low))
		total += weight
		hann(low)
		for m, hz := range [2]float64{50, 60} {
			// Of the multiples of half the mains frequency the even ones are
			// the lines, and what is beside two lines counts for both.
			var f [2*humLines + 1]float64
			for k := range f {
				f[k] = hz / 2 * float64(k+1) / slow
			}
			power := linePowers(low, f[:])
			for k := range lines[m] {
				lines[m][k].line += weight * power[2*k+1]
				lines[m][k].beside += weight * (power[2*k] + power[2*k+2]) / 2
			}
		}
	}
	if total == 0 {
		return 50, 0
	}
	mains = 50
	for m, hz := range [2]int{50, 60} {
		sum := 0.0
		for _, l := range lines[m] {
			if l.line > humOverFloor*l.beside {
				sum += l.line / total
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
