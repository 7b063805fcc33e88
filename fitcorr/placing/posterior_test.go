package placing

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/seat"
)

// A reading multiplied into one normal, in closed form: precisions add.
func TestReadPart(t *testing.T) {
	m := Mark{At: [ReadDim]float64{20, -5}, Variance: [ReadDim]float64{0.1, 0.2}, One: 0.8}
	s := seat.Seating{Read: &capture.Reading{ForwardMM: 23, UpMM: -6}}
	cov := HeadsetCov([3]float64{1, 0.7, 3}, [3]float64{0.3, 0.4, 0.5})
	pos := [HeadsetDim]float64{1, 2, 3, 1.5, 1, 2}
	var want mat.Dense
	if err := want.Inverse(cov); err != nil {
		t.Fatal(err)
	}
	rhs := mat.NewVecDense(HeadsetDim, nil)
	rhs.MulVec(&want, mat.NewVecDense(HeadsetDim, slices.Clone(pos[:])))
	for a, less := range [ReadDim]float64{3, -1} {
		w := 1 / (m.One*m.One + m.Variance[a])
		for _, i := range []int{a, 3 + a} {
			rhs.SetVec(i, rhs.AtVec(i)+w*less/2)
			for _, j := range []int{a, 3 + a} {
				want.Set(i, j, want.At(i, j)+w/4)
			}
		}
	}
	var wantCov mat.Dense
	if err := wantCov.Inverse(&want); err != nil {
		t.Fatal(err)
	}
	var wantPos mat.VecDense
	wantPos.MulVec(&wantCov, rhs)
	at, variance := m.PlaceRead(s)
	got := Normal{Pos: pos, Cov: cov}.observed(1, at, variance)
	pos, cov = got.Pos, got.Cov
	for i := range pos {
		if math.Abs(pos[i]-wantPos.AtVec(i)) > 1e-9 {
			t.Errorf("position %d: %g, want %g", i, pos[i], wantPos.AtVec(i))
		}
		for j := range pos {
			if math.Abs(cov.At(i, j)-wantCov.At(i, j)) > 1e-9 {
				t.Errorf("covariance %d %d: %g, want %g", i, j, cov.At(i, j), wantCov.At(i, j))
			}
		}
	}
}
