package effects

import (
	"math"
	"math/rand/v2"
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

// With bare ears from several places of the loudspeaker the covariance is a
// covariance, places correlate as the draws do, and each has the same link to the models.
func TestStructuredPlaces(t *testing.T) {
	const listeners = 40
	law := Law{Layout{Bands: survey.NewBands(), Models: 2, Bare: 3}, listeners}
	n, prior := law.Bands.N, law.PriorEars()[0]
	rng := rand.New(rand.NewPCG(5, 1))
	var chol mat.Cholesky
	if !chol.Factorize(prior) {
		t.Fatal("the prior is no covariance")
	}
	var l mat.TriDense
	chol.LTo(&l)
	rows := mat.NewDense(listeners, law.Width()*n, nil)
	for i := range listeners {
		z := mat.NewVecDense(law.Width()*n, nil)
		for j := range law.Width() * n {
			z.SetVec(j, rng.NormFloat64())
		}
		z.MulVec(&l, z)
		rows.SetRow(i, z.RawVector().Data)
	}
	moments := mat.NewSymDense(law.Width()*n, nil)
	moments.SymOuterK(1, rows.T())
	got := law.Structured(moments, listeners, prior, rows)
	if !chol.Factorize(got) {
		t.Error("not positive definite")
	}
	corr := func(k, j int) (c float64) {
		r0 := n - 8 // where ears differ
		for r := r0; r < n; r++ {
			a, b := k*n+r, j*n+r
			c += got.At(a, b) / math.Sqrt(got.At(a, a)*got.At(b, b)) / float64(n-r0)
		}
		return c
	}
	for _, c := range []struct {
		k, j int
		want float64
	}{{2, 3, priorPlaceCorr}, {3, 4, priorPlaceCorr}, {0, 2, priorBareCorr}, {1, 4, priorBareCorr}, {0, 1, priorModelCorr}} {
		if v := corr(c.k, c.j); math.Abs(v-c.want) > 0.15 {
			t.Errorf("blocks %d and %d: correlation %.2f, want about %.2f", c.k, c.j, v, c.want)
		}
	}
}
