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
	c := mat.NewSymDense(len(freq), nil)
	s.setCovariance(c, freq)
	return c
}

// setCovariance sets c to covariance.
func (s Scatter) setCovariance(c *mat.SymDense, freq []float64) {
	n := len(freq)
	sd, oct := make([]float64, n), make([]float64, n)
	for k, f := range freq {
		sd[k] = math.Hypot(s.Floor, s.Rise*math.Pow(f/1000, s.Power))
		oct[k] = math.Log2(f) / s.Width
	}
	// Frequencies in a geometric series, as those of bands are: what is correlated goes by
	// how many lie between.
	step, even := (oct[n-1]-oct[0])/math.Max(1, float64(n-1)), true
	smooth := make([]float64, n)
	for k := range n {
		d := oct[k] - oct[0]
		even = even && math.Abs(d-float64(k)*step) < 1e-9
		smooth[k] = s.Smooth * math.Exp(-d*d/2)
	}
	raw := c.RawSymmetric()
	for k := range n {
		row := raw.Data[k*raw.Stride+k:][:n-k]
		for l := range row {
			r := smooth[l]
			if d := oct[k+l] - oct[k]; !even {
				r = s.Smooth * math.Exp(-d*d/2)
			}
			row[l] = sd[k] * sd[k+l] * r
		}
		row[0] = sd[k]*sd[k] + leastScatter*leastScatter
	}
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

// setWeight sets out to the inverse of base + diag(variance) over the points of finite variance;
// rows and columns of the others are zero. It returns the log-determinant of what it inverts;
// work is scratch, n × n.
func setWeight(out *mat.Dense, base *mat.SymDense, variance []float64, work *mat.SymDense) (float64, error) {
	use := finite(variance)
	out.Zero()
	if len(use) == 0 {
		return 0, nil
	}
	sub := work.SliceSym(0, len(use)).(*mat.SymDense)
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
		return 0, errSingular
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
	return logDet, nil
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
