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
	norm := besselI0(kernelBeta)
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
			u := d / kernelHalf
			w := 1 - u*u
			if w <= 0 {
				continue
			}
			sinc := s / (math.Pi * d)
			if (kernelHalf-1-k)%2 != 0 {
				sinc = -sinc
			}
			sum += x[first+k] * sinc * besselI0(kernelBeta*math.Sqrt(w)) / norm
		}
		y[i] = sum
	}
	return y
}

// besselI0 is the modified Bessel function of order 0, by its power series.
func besselI0(x float64) float64 {
	q, term, sum := x*x/4, 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= q / (k * k)
		sum += term
	}
	return sum
}
