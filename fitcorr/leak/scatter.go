package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// Scatter is how the low end of seatings differs for reasons other than gain
// and leak: the microphone, the cup and the ear sit a little differently each
// time. Its standard deviation is √(Floor² + (Rise·(f/1 kHz)^Power)²) dB, since
// wave effects in a cup grow with frequency, and the fraction Smooth of its variance is
// correlated over frequency with the given width.
type Scatter struct {
	Floor  float64 // dB
	Rise   float64 // dB at 1 kHz
	Power  float64 // of frequency
	Smooth float64 // 0 to 1
	Width  float64 // octaves
}

// startScatter is where the estimate starts and the mean of its prior, orders of
// magnitude only; priorScatterSD are the standard deviations of the prior on the vector
// (common practice, no source).
var (
	startScatter   = Scatter{Floor: 0.15, Rise: 0.5, Power: 1, Smooth: 0.7, Width: 0.7}
	priorScatterSD = [...]float64{1.5, 1.5, 0.4, 1.5, 0.4}
)

// leastScatter, in dB, is independent from point to point: no level is better
// than that.
const leastScatter = 0.01

// covariance returns the covariance in dB² over freq (Hz).
func (s Scatter) covariance(freq []float64) *mat.SymDense {
	n := len(freq)
	sd, oct := make([]float64, n), make([]float64, n)
	for k, f := range freq {
		sd[k] = math.Hypot(s.Floor, s.Rise*math.Pow(f/1000, s.Power))
		oct[k] = math.Log2(f) / s.Width
	}
	c := mat.NewSymDense(n, nil)
	for k := range n {
		c.SetSym(k, k, sd[k]*sd[k]+leastScatter*leastScatter)
		for l := k + 1; l < n; l++ {
			d := oct[l] - oct[k]
			c.SetSym(k, l, sd[k]*sd[l]*s.Smooth*math.Exp(-d*d/2))
		}
	}
	return c
}

// vector and scatterFrom map to unbounded values and back: the logarithms of Floor, Rise
// and Power, the logit of Smooth, the logarithm of Width.
func (s Scatter) vector() []float64 {
	return []float64{math.Log(s.Floor), math.Log(s.Rise), math.Log(s.Power), math.Log(s.Smooth / (1 - s.Smooth)), math.Log(s.Width)}
}

func scatterFrom(x []float64) Scatter {
	const mostSmooth = 6 // logit; beyond it the covariance has no inverse to speak of
	return Scatter{math.Exp(x[0]), math.Exp(x[1]), math.Exp(x[2]), 1 / (1 + math.Exp(-math.Min(x[3], mostSmooth))), math.Exp(x[4])}
}

// penalty is −2 log of the prior, without constants. It keeps the scatter within what it
// can be when the residuals do not say.
func (s Scatter) penalty() float64 {
	x, m := s.vector(), startScatter.vector()
	sum := 0.0
	for k := range x {
		d := (x[k] - m[k]) / priorScatterSD[k]
		sum += d * d
	}
	return sum
}

// weightOf inverts base + diag(variance) over the points of finite variance;
// rows and columns of the others are zero. It also returns the
// log-determinant of what it inverts.
func weightOf(base *mat.SymDense, variance []float64) (*mat.Dense, float64, error) {
	use := finite(variance)
	n := base.SymmetricDim()
	out := mat.NewDense(n, n, nil)
	if len(use) == 0 {
		return out, 0, nil
	}
	sub := mat.NewSymDense(len(use), nil)
	to, from := sub.RawSymmetric(), base.RawSymmetric()
	for a, k := range use {
		row := to.Data[a*to.Stride+a:]
		for b, l := range use[a:] {
			row[b] = from.Data[k*from.Stride+l]
		}
		row[0] += variance[k]
	}
	factor, ok := stats.Factorize(sub)
	if !ok {
		return nil, 0, errSingular
	}
	logDet := factor.LogDet()
	inverse := factor.Inverse().RawSymmetric()
	weight := out.RawMatrix()
	for a, k := range use {
		row := inverse.Data[a*inverse.Stride+a:]
		for b, l := range use[a:] {
			weight.Data[k*weight.Stride+l], weight.Data[l*weight.Stride+k] = row[b], row[b]
		}
	}
	return out, logDet, nil
}

func finite(v []float64) []int {
	var use []int
	for k, x := range v {
		if !math.IsInf(x, 0) && !math.IsNaN(x) {
			use = append(use, k)
		}
	}
	return use
}
