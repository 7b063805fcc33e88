package deconv_test

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"asworn/capture/band"
	"asworn/capture/deconv"
)

func random(n int, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 0))
	x := make([]float64, n)
	for i := range x {
		x[i] = r.NormFloat64()
	}
	return x
}

// TestFFTAgainstGonum compares with gonum's transform over all kinds of length.
func TestFFTAgainstGonum(t *testing.T) {
	for _, n := range []int{2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 26, 30, 32, 34, 48, 50, 64, 96, 98, 100, 120, 128, 154,
		256, 270, 450, 512, 686, 1000, 1024, 1250, 1458, 2048, 4096, 6000, 8192, 13310, 2 * 97, 32768, 65536, 96000, 192000, 196608, 216000} {
		x := random(n, uint64(n))
		want := fourier.NewFFT(n).Coefficients(nil, x)
		f := deconv.NewFFT(n)
		got := make([]complex128, f.Bins())
		f.Forward(got, x)
		var diff, sum float64
		for k := range want {
			diff = max(diff, cmplx.Abs(got[k]-want[k]))
			sum += real(want[k] * cmplx.Conj(want[k]))
		}
		if rel := diff / math.Sqrt(sum/float64(len(want))); rel > 1e-12*math.Log2(float64(n)+2) {
			t.Errorf("length %d: off by %.2g of the mean magnitude", n, rel)
		}
		back := make([]float64, n)
		f.Clone().Inverse(back, got)
		for i := range x {
			if math.Abs(back[i]-x[i]) > 1e-12 {
				t.Errorf("length %d: sample %d comes back as %g for %g", n, i, back[i], x[i])
				break
			}
		}
	}
}

// TestForwardOfFewer: what is not given is 0, whatever was transformed before.
func TestForwardOfFewer(t *testing.T) {
	for _, n := range []int{2, 4, 16, 100, 600, 1024, 9600, 62500} {
		f := deconv.NewFFT(n)
		got, want := make([]complex128, f.Bins()), make([]complex128, f.Bins())
		for _, count := range []int{0, 1, 2, 3, n / 27, n/27 + 1, n / 4, n/2 + 1, n - 1} {
			x := random(n, uint64(n))
			count = min(count, n)
			f.Forward(got, x)
			f.Forward(got, x[:count])
			clear(x[count:])
			f.Forward(want, x)
			if !slices.Equal(got, want) {
				t.Errorf("%d of %d samples: not as with zeros behind", count, n)
			}
		}
	}
}

// TestEveryEighth holds it against the transform of the samples.
func TestEveryEighth(t *testing.T) {
	for _, n := range []int{16, 48, 2000, 73728} {
		x := random(n, uint64(n))
		whole, eighth := deconv.NewFFT(n), deconv.NewFFT(n/8)
		s, got := make([]complex128, whole.Bins()), make([]complex128, eighth.Bins())
		whole.Forward(s, x)
		deconv.EveryEighth(got, s)
		y := make([]float64, n/8)
		eighth.Inverse(y, got)
		for i, v := range y {
			if math.Abs(v-x[8*i]) > 1e-12 {
				t.Fatalf("length %d: sample %d is %g, not %g", n, i, v, x[8*i])
			}
		}
	}
}

func TestFastLen(t *testing.T) {
	for _, n := range []int{1, 2, 3, 7, 11, 100, 4096, 5000, 192001, 216000, 480000} {
		for _, m := range []int{2, 64} {
			got := deconv.FastMultiple(n, m)
			rest := got
			for _, p := range []int{2, 3, 5} {
				for rest%p == 0 {
					rest /= p
				}
			}
			if got < n || got%m != 0 || (n > 1000 && float64(got) > 1.2*float64(n)+float64(m)) || (rest != 1) {
				t.Errorf("FastMultiple(%d, %d) = %d", n, m, got)
			}
		}
	}
}

func BenchmarkFFT(b *testing.B) {
	for _, n := range []int{32768, 65536, 192000, 196608, 216000, 221184, 262144} {
		x := random(n, 1)
		b.Run(fmt.Sprintf("asworn/%d", n), func(b *testing.B) {
			f := deconv.NewFFT(n)
			c := make([]complex128, f.Bins())
			for b.Loop() {
				f.Forward(c, x)
			}
		})
		b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
			f := fourier.NewFFT(n)
			c := make([]complex128, n/2+1)
			for b.Loop() {
				f.Coefficients(c, x)
			}
		})
	}
}

// The mean of |H|² over a band is that of the response itself, however narrow
// the band: a single sample has the level 0 dB in all of them.
func ExampleBandPower() {
	bands := band.All()
	p, err := deconv.NewBandPower(48000, 1000, bands)
	if err != nil {
		fmt.Println(err)
		return
	}
	power := make([]float64, len(bands))
	p.Mean(power, []float64{1})
	fmt.Printf("%.1f Hz wide: %.4f; %.0f Hz wide: %.4f\n", bands[0].Upper-bands[0].Lower, power[0], bands[240].Upper-bands[240].Lower, power[240])
	// Output:
	// 0.5 Hz wide: 1.0000; 519 Hz wide: 1.0000
}
