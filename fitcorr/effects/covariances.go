package effects

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// Covariances holds Λ: how ears and positions differ from person to person. Left
// and right are alike in law, so the ears' part is held as the covariance of
// (left + right)/√2 and of (left − right)/√2, each over the channels of one ear.
type Covariances struct {
	Sum, Diff  *mat.SymDense   // width·n square, dB², channel by channel
	Between    []*mat.SymDense // per model, HeadsetDim square, mm and degrees: of listeners' mean positions
	Confounded *mat.SymDense   // HeadsetDim square, mm and degrees: ear differences that look like a movement
	// Fixture is the variance of the fixture's ear over that of a person's, ratios of 1
	// or more: of (left + right)/√2, which the confounded part goes with, and of (left −
	// right)/√2.
	Fixture [2]float64
}

// Prior is Λ as a listener's equations take it.
type Prior struct {
	// Inverse is Λ⁻¹ over the values that a listener's vector holds (Layout.Values), symmetric.
	Inverse *mat.Dense
	LogDet  float64 // log|Λ| over the same
}

// leastLandmarkMM keeps Λ from being singular where a landmark is stated to be exact.
const leastLandmarkMM = 1e-3

// Ears returns the ears' part of Λ, Dim square, dB², zero on positions; scale is a factor on
// (left + right)/√2 and one on (left − right)/√2.
func (s *Covariances) Ears(l Layout, scale [2]float64) *mat.SymDense {
	index := make([]int, l.Dim())
	for i := range index {
		index[i] = i
	}
	data := make([]float64, l.Dim()*l.Dim())
	l.setEars(mat.NewDense(l.Dim(), l.Dim(), data), index, [2]*mat.SymDense{s.Sum, s.Diff}, scale)
	return mat.NewSymDense(l.Dim(), data)
}

// setEars sets the ears' part of to, a matrix over the values of index, from those of
// (left + right)/√2 and (left − right)/√2, each times its scale.
func (l Layout) setEars(to *mat.Dense, index []int, of [2]*mat.SymDense, scale [2]float64) {
	n := l.Bands.N
	at := func(i int) (left, right int) { return index[l.Channel(0, i/n)+i%n], index[l.Channel(1, i/n)+i%n] }
	for i := range l.Width() * n {
		left, right := at(i)
		a, b := to.RawRowView(left), to.RawRowView(right)
		for j := range l.Width() * n {
			sum, diff := scale[0]*of[0].At(i, j)/2, scale[1]*of[1].At(i, j)/2
			l, r := at(j)
			a[l], a[r] = sum+diff, sum-diff
			b[l], b[r] = sum-diff, sum+diff
		}
	}
}

// Prior makes Λ ready; landmarkMM is the standard deviation of a listener's landmark, of
// no account without readings. False where Λ is singular.
func (s *Covariances) Prior(l Layout, landmarkMM float64) (Prior, bool) {
	index, count := l.Values()
	out := Prior{Inverse: mat.NewDense(count, count, nil)}
	var inverse [2]*mat.SymDense // (left ± right)/√2 are independent of each other
	for part, cov := range []*mat.SymDense{s.Sum, s.Diff} {
		own := mat.DenseCopyOf(cov)
		logDet, ok := stats.Invert(own)
		if !ok {
			return out, false
		}
		out.LogDet += logDet
		inverse[part] = stats.Symmetric(own)
	}
	l.setEars(out.Inverse, index, inverse, [2]float64{1, 1})
	return out, s.addOthers(l, max(landmarkMM, leastLandmarkMM), index, &out)
}

// addOthers adds to the prior what stands behind the ears in the models' blocks, and
// reports whether its covariance has an inverse.
func (s *Covariances) addOthers(l Layout, landmarkMM float64, index []int, out *Prior) bool {
	root := mat.NewDense(l.Dim(), l.smallColumns(), nil)
	for m := range l.Models {
		l.FillPosition(root, m, placing.HeadsetDim*m, stats.CholeskyRoot(s.Between[m]))
	}
	l.FillConfounded(root, s.Confounded, 1, placing.HeadsetDim*l.Models)
	if l.Read {
		l.FillLandmark(root, l.smallColumns()-placing.ReadDim, landmarkMM)
	}
	var rows []int // the first of each value
	for m := range l.Models {
		for i := l.Position(m); i < l.Start(m)+l.Block(); i++ {
			if m == 0 || i < l.Confounded(m)+placing.HeadsetDim {
				rows = append(rows, i)
			}
		}
	}
	cov := mat.NewSymDense(len(rows), nil)
	for a, i := range rows {
		for b, j := range rows[:a+1] {
			cov.SetSym(a, b, stats.DotRows(root, i, j))
		}
	}
	factor, ok := stats.Factorize(cov)
	if !ok {
		return false
	}
	out.LogDet += factor.LogDet()
	inverse := factor.Inverse()
	for a, i := range rows {
		for b, j := range rows[:a+1] {
			out.Inverse.Set(index[i], index[j], inverse.At(a, b))
			out.Inverse.Set(index[j], index[i], inverse.At(a, b))
		}
	}
	return true
}
