package fitcorr

import (
	"context"
	"math"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
)

// A panel model whose listeners were displaced tells positions with the mean of
// the fixture's and the listeners' slopes.
func TestDisplacedListeners(t *testing.T) {
	plan := smallToy(3)
	plan.displaced = 2
	ss, _ := plan.study()
	a, _, err := Analyse(context.Background(), ss, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range a.Models {
		if !slices.Contains(m.Worn.Separation, "displaced listeners") {
			t.Errorf("%s: separation %q does not name the displaced listeners", m.Model, m.Worn.Separation)
		}
	}
	plain := slices.DeleteFunc(slices.Clone(ss), func(s Seating) bool { return s.Subject != fixtureSubject && s.Survey != nil })
	b, _, err := Analyse(context.Background(), plain, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	if b.Models[0].Worn.Mean == a.Models[0].Worn.Mean {
		t.Error("displaced listeners change nothing")
	}
	if got, want := a.Models[0].Worn.Seatings, b.Models[0].Worn.Seatings; got != want {
		t.Errorf("%d worn seatings, want %d: a displaced seating is not how a listener wears it", got, want)
	}
}

// The slope of a listener comes back from clean rows, and the mean counts the
// fixture and every listener once.
func TestMeetListeners(t *testing.T) {
	p := &panel{bands: newPositionBands()}
	pm := &panelModel{}
	pm.scatter[0] = symmetricEye(p.bands.n, 1e-6)
	n := p.bands.n
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
	pm.meetListeners(p, 0)
	for r := range n {
		if want := (fixture[r] + own[r]) / 2; math.Abs(pm.slope[0][0][r]-want) > 0.003 {
			t.Errorf("band %d: slope %.4f, want %.4f", r, pm.slope[0][0][r], want)
		}
	}
}

// What the displaced listeners buy, on toy studies without a bare-ear
// reference: ASWORN_LONG.
func TestDisplacedListenersGain(t *testing.T) {
	if os.Getenv("ASWORN_LONG") == "" {
		t.Skip("long")
	}
	for _, k := range []int{0, 2, 8} {
		var s toySummary
		for seed := range uint64(8) {
			plan := defaultToy(seed + 40)
			plan.bare, plan.displaced = false, k
			ss, truth := plan.study()
			a, _, err := Analyse(context.Background(), ss, DefaultOptions())
			if err != nil {
				t.Fatal(err)
			}
			s.addStudy(a, truth)
		}
		t.Logf("%d displaced: worn %v mean %v", k, &s.worn, &s.mean)
	}
}

func symmetricEye(n int, v float64) *mat.SymDense {
	m := mat.NewSymDense(n, nil)
	for i := range n {
		m.SetSym(i, i, v)
	}
	return m
}
