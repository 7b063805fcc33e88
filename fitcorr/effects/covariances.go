package effects

import (
	"math"

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
	// Ears is a root of the ears' part of Λ, dB: Dim rows, zero on those of positions;
	// width·n columns of (left + right)/√2, then as many of (left − right)/√2.
	Ears *mat.Dense
	// Inverse is Λ⁻¹ over the values that a listener's vector holds (Layout.Values), symmetric.
	Inverse *mat.Dense
	LogDet  float64 // log|Λ| over the same
}

// leastLandmarkMM keeps Λ from being singular where a landmark is stated to be exact.
const leastLandmarkMM = 1e-3

// Prior makes Λ ready; landmarkMM is the standard deviation of a listener's landmark, of
// no account without readings. False where Λ is singular.
func (s *Covariances) Prior(l Layout, landmarkMM float64) (Prior, bool) {
	index, count := l.Values()
	n, size := l.Bands.N, l.Width()*l.Bands.N
	out := Prior{Ears: mat.NewDense(l.Dim(), 2*size, nil), Inverse: mat.NewDense(count, count, nil)}
	for part, cov := range []*mat.SymDense{s.Sum, s.Diff} {
		own := mat.NewSymDense(size, nil)
		own.CopySym(cov)
		factor, ok := stats.Factorize(own)
		if !ok {
			return out, false
		}
		out.LogDet += factor.LogDet()
		root := factor.Lower()
		inverse := factor.Inverse()
		sign := [2]float64{1, 1 - 2*float64(part)} // of the left and the right ear
		for i := range size {
			at := [2]int{l.Channel(0, i/n) + i%n, l.Channel(1, i/n) + i%n}
			for e, row := range at {
				for j := range i + 1 {
					out.Ears.Set(row, part*size+j, math.Sqrt(0.5)*sign[e]*root.At(i, j))
				}
			}
			for j := i; j < size; j++ {
				to := [2]int{l.Channel(0, j/n) + j%n, l.Channel(1, j/n) + j%n}
				v := inverse.At(i, j) / 2
				for e := range at {
					for f := range to {
						if a, b := index[at[e]], index[to[f]]; i < j || e <= f {
							w := out.Inverse.At(a, b) + sign[e]*sign[f]*v
							out.Inverse.Set(a, b, w)
							out.Inverse.Set(b, a, w)
						}
					}
				}
			}
		}
	}
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
