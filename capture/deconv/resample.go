package deconv

import "math"

// Parameters of the interpolation kernel: a sinc of kernelHalf zero crossings
// on either side under a Kaiser window. Up to 0.46 of the rate its error is
// below −100 dB (J. Kaiser, in Kuo and Kaiser, System Analysis by Digital
// Computer, 1966, for the window; quoted from memory).
const (
	kernelHalf = 48
	kernelBeta = 10.0
)

// Resample returns x as a recorder whose clock runs ratio times as fast as the
// player's would sample it: y[i] = x(i/ratio), for ratios close to 1, where no
// filter against aliasing is called for. y has round(len(x)·ratio) samples.
func Resample(x []float64, ratio float64) []float64 {
	y := make([]float64, int(math.Round(float64(len(x))*ratio)))
	window := kaiserTable()
	for i := range y {
		at := float64(i) / ratio
		first := int(math.Floor(at)) - kernelHalf + 1
		frac := at - math.Floor(at)
		// sin(π(frac+k)) alternates in sign only.
		s := math.Sin(math.Pi * frac)
		sum := 0.0
		for k := max(0, -first); k < 2*kernelHalf && first+k < len(x); k++ {
			d := frac + float64(kernelHalf-1-k) // at − (first+k)
			if d == 0 {
				sum += x[first+k]
				continue
			}
			sinc := s / (math.Pi * d)
			if (kernelHalf-1-k)%2 != 0 {
				sinc = -sinc
			}
			sum += x[first+k] * sinc * lookUp(window, math.Abs(d)/kernelHalf)
		}
		y[i] = sum
	}
	return y
}

// besselI0 is the modified Bessel function of order 0, by its power series.
func besselI0(x float64) float64 { return besselSeries(x * x / 4) }

// besselSeries is I₀(2√q), an entire function of q.
func besselSeries(q float64) float64 {
	term, sum := 1.0, 1.0
	for k := 1.0; math.Abs(term) > 1e-17*sum; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
}

// kernelSteps is the number of steps in the window's table; with cubic
// interpolation it is good to 1e-12.
const kernelSteps = 4096

// kaiserTable returns the window from its middle to a little beyond its end,
// with one value before the first for the interpolation.
func kaiserTable() []float64 {
	t := make([]float64, kernelSteps+4)
	for i := range t {
		u := float64(i-1) / kernelSteps
		// Past the end the series goes on smoothly with a negative argument.
		t[i] = besselSeries(kernelBeta*kernelBeta*(1-u*u)/4) / besselI0(kernelBeta)
	}
	return t
}

// lookUp interpolates the table at u from 0 to 1 by a cubic through four
// points.
func lookUp(t []float64, u float64) float64 {
	at := u * kernelSteps
	i := min(int(at), kernelSteps-1)
	f := at - float64(i)
	a, b, c, d := t[i], t[i+1], t[i+2], t[i+3]
	return b + f*(c-a/3-b/2-d/6+f*((a+c)/2-b+f*((d-a)/6+(b-c)/2)))
}
