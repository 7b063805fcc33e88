package effects

import (
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/survey"
)

// The fixture's ear is a person's, and more where it differs from people's by
// more than they do from each other; never less.
func TestFixtureEar(t *testing.T) {
	law := Law{Layout{Bands: survey.NewBands(), Models: 1}, 8}
	prior := law.PriorEars()[0]
	times := func(v float64) *mat.SymDense {
		m := mat.NewSymDense(prior.SymmetricDim(), nil)
		m.ScaleSym(v, prior)
		return m
	}
	people := times(8) // sum over eight listeners
	for _, c := range []struct{ fixture, least, most float64 }{{0.1, 1, 1}, {1, 1, 1}, {4, 2, 4}, {16, 5, 16}} {
		if got := law.FixtureEar(times(c.fixture), people, prior, prior); got < c.least || got > c.most {
			t.Errorf("fixture %g times a person's variance: factor %.2f, want %g to %g", c.fixture, got, c.least, c.most)
		}
	}
}
