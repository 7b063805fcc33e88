package survey

import (
	"math"
	"testing"

	"asworn/capture/band"
	"asworn/fitcorr/stats"
	"asworn/testdata/vectors"
)

// The surface of a survey against sklearn.gaussian_process.
func TestSurfaceVectors(t *testing.T) {
	rows := vectors.Numbers(t, "offset", "surface_rows.csv")
	at := make([][3]float64, len(rows))
	y := make([]float64, len(rows))
	var mean float64
	for i, r := range rows {
		at[i] = [3]float64(r[:3])
		y[i] = r[3]
		mean += r[3] / float64(len(rows))
	}
	slip := make([]float64, len(rows))
	for i := range slip {
		slip[i] = 1
	}
	for _, c := range vectors.Numbers(t, "offset", "surface.csv") {
		k := Kernel{Linear: c[0], Quadratic: c[1], Amplitude: c[2], LengthMM: c[3], MMPerDeg: c[4]}
		inv, ok := kernelInverse(k, at, slip)
		if !ok {
			t.Fatal("singular")
		}
		e := Ear{At: at, Zones: []Zone{{0, band.Count, k, stats.RowsOf(inv)}}, Scatter: make([]float64, band.Count), Valid: make([]bool, band.Count)}
		e.Scatter[0], e.Valid[0] = 1, true
		for i := range at {
			w := make([]float64, band.Count)
			for j := range at {
				w[0] += inv.At(i, j) * (y[j] - mean)
			}
			e.Weights = append(e.Weights, w)
		}
		s := Survey{Ears: [2]Ear{e}}
		change, sd := s.Predict(0, [3]float64(c[5:8]))
		if math.Abs(change[0]-c[8]) > 1e-6 || math.Abs(sd[0]-c[9]) > 1e-4 {
			t.Errorf("%+v at %v: %.7f ± %.7f dB, want %.7f ± %.7f", k, c[5:8], change[0], sd[0], c[8], c[9])
		}
	}
}
