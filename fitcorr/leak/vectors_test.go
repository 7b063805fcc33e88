package leak

import (
	"math"
	"math/cmplx"
	"strconv"
	"testing"

	"asworn/fitcorr/internal/toy"
	"asworn/testdata/vectors"
)

// numbers reads a vector file (comment lines begin with #, one head line) as
// numbers.
func numbers(t *testing.T, name string) [][]float64 {
	t.Helper()
	var out [][]float64
	for _, row := range vectors.Rows(t, "leak", name) {
		var v []float64
		for _, s := range row {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			v = append(v, x)
		}
		out = append(out, v)
	}
	return out
}

// The circuit against scipy.signal.freqs, the 3 dB frequency against
// scipy.optimize.brentq (testdata/leak/make.py).
func TestVectorsCircuit(t *testing.T) {
	var leaks []Params
	for _, row := range numbers(t, "slit.csv") {
		s := toy.Slit{Height: row[1], Width: row[2], Length: row[3]}
		for k, got := range []float64{s.Resistance(), s.Mass(), toy.Compliance(row[4])} {
			if math.Abs(got/row[5+k]-1) > 1e-12 {
				t.Errorf("case %.0f element %d: %g, want %g", row[0], k, got, row[5+k])
			}
		}
		p := fromCircuit(s.Resistance(), s.Mass(), toy.Compliance(row[4]))
		if math.Abs(p.ThreeDBHz()/row[8]-1) > 1e-9 {
			t.Errorf("case %.0f: 3 dB at %g Hz, want %g", row[0], p.ThreeDBHz(), row[8])
		}
		leaks = append(leaks, p)
	}
	for _, row := range numbers(t, "response.csv") {
		got, want := leaks[int(row[0])].Response(row[1]), complex(row[2], row[3])
		if cmplx.Abs(got-want) > 1e-10*cmplx.Abs(want) {
			t.Errorf("case %.0f at %.0f Hz: %v, want %v", row[0], row[1], got, want)
		}
	}
}
