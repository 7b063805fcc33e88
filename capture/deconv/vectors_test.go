package deconv_test

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"testing"

	"github.com/mjibson/go-dsp/spectral"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/testdata/vectors"
)

// load reads a file that testdata/scipy/make.py wrote.
func load(t *testing.T, name string, v any) {
	t.Helper()
	if err := json.NewDecoder(vectors.Open(t, "scipy", name+".json")).Decode(v); err != nil {
		t.Fatal(err)
	}
}

// far returns the largest difference relative to the largest value.
func far(t *testing.T, got, want []float64) float64 {
	t.Helper()
	if len(got) != len(want) || len(want) == 0 {
		t.Fatalf("%d values, want %d", len(got), len(want))
	}
	diff, top := 0.0, 0.0
	for i := range want {
		diff, top = max(diff, math.Abs(got[i]-want[i])), max(top, math.Abs(want[i]))
	}
	return diff / top
}

const same = 1e-9 // relative, where the method is the same

func TestFFTVectors(t *testing.T) {
	var v struct {
		Cases []struct{ X, Re, Im []float64 }
	}
	load(t, "fft", &v)
	for _, c := range v.Cases {
		f := deconv.NewFFT(len(c.X))
		got := make([]complex128, f.Bins())
		f.Forward(got, c.X)
		for k := range got {
			if d := cmplx.Abs(got[k] - complex(c.Re[k], c.Im[k])); d > 1e-12*float64(len(c.X)) {
				t.Errorf("length %d, bin %d: off by %g", len(c.X), k, d)
			}
		}
		back := make([]float64, f.Len())
		f.Inverse(back, got)
		if d := far(t, back, c.X); d > 1e-13 {
			t.Errorf("length %d: inverse off by %g", len(c.X), d)
		}
	}
}

func TestWindowVectors(t *testing.T) {
	var v struct {
		N, Rise, Fall int
		Value, Tukey  []float64
	}
	load(t, "window", &v)
	if d := far(t, deconv.Tukey(v.N, v.Rise, v.Fall), v.Value); d > same {
		t.Errorf("off by %g", d)
	}
	// scipy.signal.windows.tukey samples the same shape from its very end on,
	// where it is 0; ours starts half a sample in, so that no sample is lost.
	// The two differ by no more than half a step of the taper.
	if d := far(t, deconv.Tukey(v.N, 60, 60), v.Tukey); d > math.Pi/2/60 {
		t.Errorf("from scipy's tukey by %g", d)
	}
}

func TestWelchVectors(t *testing.T) {
	var v struct {
		Rate      float64 `json:"rate_hz"`
		Size      int
		X         []float64
		Density   []float64
		Symmetric []float64
	}
	load(t, "welch", &v)
	w := deconv.NewWelch(v.Size, v.Rate)
	got := make([]float64, v.Size/2+1)
	w.Density(got, v.X)
	if d := far(t, got, v.Density); d > same {
		t.Errorf("off by %g", d)
	}
	// go-dsp's estimate, with a symmetric window and the mean left in, agrees
	// with SciPy's of that kind: a second implementation of the same method.
	psd, _ := spectral.Pwelch(v.X, v.Rate, &spectral.PwelchOptions{NFFT: v.Size, Noverlap: v.Size / 2})
	if d := far(t, psd, v.Symmetric); d > same {
		t.Errorf("go-dsp: off by %g", d)
	}
}

func TestResampleVectors(t *testing.T) {
	var v struct {
		X       []float64
		Ratio   []float64
		Value   [][]float64
		Fourier []float64
	}
	load(t, "resample", &v)
	for i, r := range v.Ratio {
		if d := far(t, deconv.Resample(v.X, r), v.Value[i]); d > same {
			t.Errorf("ratio %g: off by %g", r, d)
		}
	}
	// scipy.signal.resample takes the signal for periodic and interpolates by
	// an infinite sinc: that differs from a windowed one by its stop band.
	if d := far(t, deconv.Resample(v.X, v.Ratio[2]), v.Fourier); d > 2e-4 {
		t.Errorf("from scipy's Fourier method by %g", d)
	}
}

func TestBandVectors(t *testing.T) {
	var v struct {
		Rate              float64 `json:"rate_hz"`
		Mid, Lower, Upper []float64
		Decay, Hz         []float64
		Length            int
		Same, Exact       []float64
		Some              []int
	}
	load(t, "bands", &v)
	bands := band.All()
	for i, b := range bands {
		for _, p := range [][2]float64{{b.Mid, v.Mid[i]}, {b.Lower, v.Lower[i]}, {b.Upper, v.Upper[i]}} {
			if math.Abs(p[0]/p[1]-1) > 1e-12 {
				t.Fatalf("band %d: %v, want %g %g %g", i, b, v.Lower[i], v.Mid[i], v.Upper[i])
			}
		}
	}
	h := make([]float64, v.Length)
	h[0] = 1
	for i := range h {
		s := float64(i) / v.Rate
		h[i] += math.Exp(-s/v.Decay[0])*math.Sin(2*math.Pi*v.Hz[0]*s) + 0.5*math.Exp(-s/v.Decay[1])*math.Sin(2*math.Pi*v.Hz[1]*s)
	}
	bp, err := deconv.NewBandPower(v.Rate, v.Length, bands)
	if err != nil {
		t.Fatal(err)
	}
	got := make([]float64, len(bands))
	bp.Mean(got, h)
	for i := range got {
		if d := math.Abs(got[i]/v.Same[i] - 1); d > same {
			t.Errorf("band %.1f Hz: off by %g", bands[i].Mid, d)
		}
	}
	// Against the integral itself: what the trapezoid rule costs.
	for j, i := range v.Some {
		if d := math.Abs(10 * math.Log10(got[i]/v.Exact[j])); d > 0.002 {
			t.Errorf("band %.1f Hz: %.5f dB from the integral", bands[i].Mid, d)
		}
	}
}
