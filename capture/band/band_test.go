package band_test

import (
	"fmt"
	"math"
	"testing"

	"asworn/capture/band"
)

// nominal are the nominal mid-band frequencies of ISO 266 from 20 Hz to
// 20 kHz, by which IEC 61260-1 labels the third-octave bands.
var nominal = []float64{20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
	1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000}

// exact are exact mid-band frequencies of one decade, 10^(x/10) kHz rounded to
// five figures, as IEC 61260-1 lists them; any decade is the same by ten.
var exact = []float64{1000, 1258.9, 1584.9, 1995.3, 2511.9, 3162.3, 3981.1, 5011.9, 6309.6, 7943.3, 10000}

func TestThirdsAgainstStandards(t *testing.T) {
	bands := band.AllThirds()
	if len(bands) != len(nominal) {
		t.Fatalf("%d bands, want %d", len(bands), len(nominal))
	}
	for i, b := range bands {
		// ISO 266 rounds to the series R10; no value is off by more than 1.3 %.
		if d := math.Abs(b.Mid/nominal[i] - 1); d > 0.013 {
			t.Errorf("band %d: mid %g, nominal %g", i, b.Mid, nominal[i])
		}
		if want := exact[(i+3)%10] * math.Pow(10, math.Floor(float64(i+3)/10)-2); math.Abs(b.Mid/want-1) > 5e-5 {
			t.Errorf("band %d: mid %g, want %g", i, b.Mid, want)
		}
	}
}

func TestBandsMeetAndNest(t *testing.T) {
	all, thirds := band.All(), band.AllThirds()
	for i, b := range all {
		if i > 0 && math.Abs(b.Lower/all[i-1].Upper-1) > 1e-12 {
			t.Errorf("band %d starts at %g, the one below ends at %g", i, b.Lower, all[i-1].Upper)
		}
		if math.Abs(b.Mid*b.Mid/(b.Lower*b.Upper)-1) > 1e-12 {
			t.Errorf("band %d: mid %g is not the geometric mean of its edges", i, b.Mid)
		}
		// IEC 61260-1:2014, 5.5: bandwidth designator 1/b, edges a ratio of
		// G^(1/b) apart, G = 10^0.3.
		if math.Abs(b.Upper/b.Lower/math.Pow(10, 0.3/24)-1) > 1e-12 {
			t.Errorf("band %d: edges %g apart", i, b.Upper/b.Lower)
		}
	}
	for i, b := range thirds {
		if math.Abs(all[8*i].Lower/b.Lower-1) > 1e-12 || math.Abs(all[8*i+7].Upper/b.Upper-1) > 1e-12 {
			t.Errorf("third-octave band %g Hz is not made of eight kept bands", b.Mid)
		}
	}
}

// The even fraction has the reference frequency at an edge, the odd one in the
// middle: IEC 61260-1:2014, equations (2) and (3).
func ExampleExact() {
	fmt.Printf("%.2f\n", band.Exact(0, 3))
	fmt.Printf("%.2f\n", band.Exact(0, 24))
	// Output:
	// {891.25 1000.00 1122.02}
	// {1000.00 1014.50 1029.20}
}
