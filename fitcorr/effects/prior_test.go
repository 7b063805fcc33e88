package effects

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// The inverse and the determinant that a panel's equations take are those of Λ, in which
// the error of a landmark is one value in all models.
func TestPrior(t *testing.T) {
	const landmarkMM = 1.5
	l := Layout{Bands: survey.NewBands(), Models: 2, Bare: 1, Read: true}
	ears := Law{Layout: l, Listeners: 8}.PriorEars()
	between := placing.HeadsetCov([3]float64{2, 3, 4}, [3]float64{0.5, 0.6, 0.7})
	s := Covariances{Sum: ears[0], Diff: ears[1], Between: []*mat.SymDense{between, between},
		Confounded: placing.HeadsetCov([3]float64{1, 1, 2}, [3]float64{0.5, 0.5, 1})}
	prior, ok := s.Prior(l, landmarkMM)
	if !ok {
		t.Fatal("singular")
	}
	others := mat.NewDense(l.Dim(), l.smallColumns(), nil)
	for m := range l.Models {
		l.FillPosition(others, m, placing.HeadsetDim*m, stats.CholeskyRoot(between))
	}
	l.FillConfounded(others, s.Confounded, 1, placing.HeadsetDim*l.Models)
	l.FillLandmark(others, l.smallColumns()-placing.ReadDim, landmarkMM)
	index, count := l.Values()
	if want := l.Dim() - placing.ReadDim; count != want {
		t.Fatalf("%d values, want %d", count, want)
	}
	apart := s.Ears(l, [2]float64{1, 1})
	cov := mat.NewSymDense(count, nil)
	for i, a := range index {
		for j, b := range index {
			cov.SetSym(a, b, apart.At(i, j)+stats.DotRows(others, i, j))
		}
	}
	var unit mat.Dense
	unit.Mul(cov, prior.Inverse)
	for i := range count {
		unit.Set(i, i, unit.At(i, i)-1)
	}
	if off := mat.Norm(&unit, math.Inf(1)); off > 1e-8 {
		t.Errorf("Λ·Λ⁻¹ is off the unit matrix by %g", off)
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) || math.Abs(chol.LogDet()-prior.LogDet) > 1e-6 {
		t.Errorf("log|Λ| %g, want %g", prior.LogDet, chol.LogDet())
	}
	// The ears' part is that of (left ± right)/√2.
	n := l.Bands.N
	for _, c := range [][2]int{{3, 3}, {3, n + 5}, {n - 1, 3*n - 1}} {
		left := [2]int{l.Channel(0, c[0]/n) + c[0]%n, l.Channel(0, c[1]/n) + c[1]%n}
		right := [2]int{l.Channel(1, c[0]/n) + c[0]%n, l.Channel(1, c[1]/n) + c[1]%n}
		sum, diff := s.Sum.At(c[0], c[1]), s.Diff.At(c[0], c[1])
		if got, want := cov.At(index[left[0]], index[left[1]]), (sum+diff)/2; math.Abs(got-want) > 1e-9 {
			t.Errorf("left ear, %v: %g, want %g", c, got, want)
		}
		if got, want := cov.At(index[left[0]], index[right[1]]), (sum-diff)/2; math.Abs(got-want) > 1e-9 {
			t.Errorf("left and right ear, %v: %g, want %g", c, got, want)
		}
	}
}
