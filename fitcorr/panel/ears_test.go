package panel

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/survey"
)

// The fixture's ear is a person's, and more where it differs from people's by
// more than they do from each other; never less.
func TestFixtureEar(t *testing.T) {
	p := &panel{layout: layout{bands: survey.NewBands(), models: 1}, models: []*panelModel{{}}, listeners: make([]*listener, 8)}
	law := p.law().priorEars(1)
	times := func(v float64) *mat.SymDense {
		m := mat.NewSymDense(law.SymmetricDim(), nil)
		m.ScaleSym(v, law)
		return m
	}
	people := times(8) // sum over eight listeners
	for _, c := range []struct{ fixture, least, most float64 }{{0.1, 1, 1}, {1, 1, 1}, {4, 2, 4}, {16, 5, 16}} {
		if got := p.law().fixtureEar(times(c.fixture), people, law, law); got < c.least || got > c.most {
			t.Errorf("fixture %g times a person's variance: factor %.2f, want %g to %g", c.fixture, got, c.least, c.most)
		}
	}
}

// A fit that ended before it had settled says so.
func TestUnsettled(t *testing.T) {
	if got := (&panelFit{rounds: 9, change: convergedDeviance / 2}).unsettled(); got != nil {
		t.Errorf("settled, said %q", got)
	}
	got := (&panelFit{rounds: 30, change: 0.02}).unsettled()
	if len(got) != 1 || !strings.Contains(got[0], "30 rounds") || !strings.Contains(got[0], "0.02 per level") {
		t.Errorf("unsettled, said %q", got)
	}
}
