package deconv

import "math"

// quadrature is a mean over a band as a weighted sum of the values of a power spectrum
// from bin first on.
type quadrature struct {
	first   int
	weights []float64
}

// A finite sequence has a power spectrum that is known between its bins too, once there
// are twice as many as it has samples. With oversampling times as many bins as samples it
// is read off between them by a sinc under a Kaiser window (Kaiser 1966, as in Resample)
// of quadratureHalf bins to either side; the width of the window is such that its main
// lobe fills what the oversampling leaves free, which puts the error below 10⁻¹².
const (
	oversampling   = 4
	quadratureHalf = 20
)

// kernel returns the interpolation kernel at 0, 1/q, 2/q … of a bin.
func kernel(q int) []float64 {
	const beta = math.Pi / 2 * quadratureHalf
	k := make([]float64, quadratureHalf*q)
	for i := range k {
		x := float64(i) / float64(q)
		u := x / quadratureHalf
		k[i] = besselSeries(beta*beta*(1-u*u)/4) / besselI0(beta)
		if i > 0 {
			k[i] *= math.Sin(math.Pi*x) / (math.Pi * x)
		}
	}
	return k
}

// newQuadrature returns the mean from a to b, in bins of a grid q times as fine as that of the
// values, by the trapezoid rule on the fine grid. kernel is that of q.
func newQuadrature(a, b float64, q int, kernel []float64) quadrature {
	// below is the integral of a triangle about 0 up to x.
	below := func(x float64) float64 {
		switch {
		case x <= -1:
			return 0
		case x <= 0:
			return (1 + x) * (1 + x) / 2
		case x < 1:
			return 1 - (1-x)*(1-x)/2
		}
		return 1
	}
	from, to := int(a), int(b)+1
	lowest, highest := from/q-quadratureHalf, to/q+1+quadratureHalf
	first := max(0, lowest)
	out := quadrature{first, make([]float64, max(highest, -lowest)-first+1)}
	for k := from; k <= to; k++ {
		w := (below(b-float64(k)) - below(a-float64(k))) / (b - a)
		for j := k/q - quadratureHalf; j <= k/q+1+quadratureHalf; j++ {
			at := max(j, -j) - first // a power spectrum is even
			if d := max(k-q*j, q*j-k); d < len(kernel) && at >= 0 {
				out.weights[at] += w * kernel[d]
			}
		}
	}
	return out
}

func (q quadrature) of(power []float64) (sum float64) {
	for i, p := range power[q.first : q.first+len(q.weights)] {
		sum += q.weights[i] * p
	}
	return sum
}
