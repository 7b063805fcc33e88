package standout

import "math"

// positiveTail returns P(Σ λ_k χ²(h_k) > 0) for independent χ² variables with
// h_k degrees of freedom, by numerical inversion of the characteristic
// function (Imhof, Biometrika 48(3/4), 1961, equation 3.2). λ may have either
// sign; absolute error about 1e-7.
func positiveTail(lambda, h []float64) float64 {
	// Scale so that the integrand varies over u of order one.
	scale := 0.0
	for _, l := range lambda {
		scale = math.Max(scale, math.Abs(l))
	}
	if scale == 0 {
		return 0.5
	}
	integrand := func(u float64) (value, size float64) {
		theta, logRho := 0.0, 0.0
		for k, l := range lambda {
			x := l / scale * u
			theta += h[k] / 2 * math.Atan(x)
			logRho += h[k] / 4 * math.Log1p(x*x)
		}
		size = math.Exp(-logRho)
		return math.Sin(theta) / u * size, size
	}
	// u = e^v flattens both ends, where the trapezoidal rule converges
	// geometrically. Below the first u the integrand is linear.
	const from, to, dv = -12.0, 14.0, 0.1
	sum := 0.0
	for v := from; v < to; v += dv {
		u := math.Exp(v)
		y, size := integrand(u)
		sum += y * u * dv
		if size < 1e-9 {
			break
		}
	}
	first, _ := integrand(math.Exp(from))
	p := 0.5 + (sum+first*math.Exp(from)*(1-dv/2))/math.Pi
	return math.Min(math.Max(p, 0), 1)
}
