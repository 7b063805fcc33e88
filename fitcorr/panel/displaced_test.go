package panel

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/survey"
)

// The slope of a listener comes back from clean rows, and the mean counts the
// fixture and every listener once.
func TestPoolSlopes(t *testing.T) {
	p := &panel{Layout: effects.Layout{Bands: survey.NewBands()}}
	pm := &panelModel{}
	pm.scatter[0] = symmetricEye(p.Bands.N, 1e-6)
	n := p.Bands.N
	fixture, own := make([]float64, n), make([]float64, n)
	for r := range n {
		fixture[r] = 0.3 * math.Sin(float64(r))
		own[r] = 0.3 * math.Cos(float64(r)/2)
	}
	zero := make([]float64, n)
	pm.slope[0] = [3][]float64{slices.Clone(fixture), slices.Clone(zero), slices.Clone(zero)}
	var d [][3]float64
	var y [2][][]float64
	for _, x := range []float64{0, 0, 4, -4} {
		v := capture.Displacement{ForwardMM: x}
		row := make([]float64, n)
		for r := range row {
			row[r] = 7 + own[r]*x
		}
		d, y[0] = append(d, v.Vector()), append(y[0], row)
	}
	pm.displaced = []displaced{p.slopeSums(d, y)}
	pm.poolSlopes(p, 0)
	for r := range n {
		if want := (fixture[r] + own[r]) / 2; math.Abs(pm.slope[0][0][r]-want) > 0.003 {
			t.Errorf("band %d: slope %.4f, want %.4f", r, pm.slope[0][0][r], want)
		}
	}
}

func symmetricEye(n int, v float64) *mat.SymDense {
	m := mat.NewSymDense(n, nil)
	for i := range n {
		m.SetSym(i, i, v)
	}
	return m
}
