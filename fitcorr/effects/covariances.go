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

// Root returns L with Λ = LL', Dim rows, dB, mm and degrees; landmarkMM is the standard
// deviation of a listener's landmark, of no account without readings.
func (s *Covariances) Root(l Layout, landmarkMM float64) Factor {
	rs, rd := balancedRoot(s.Sum), balancedRoot(s.Diff)
	_, cs := rs.Dims()
	_, cd := rd.Dims()
	n := l.Bands.N
	out := mat.NewDense(l.Dim(), cs+cd+l.smallColumns(), nil)
	half := math.Sqrt(0.5)
	for k := range l.Width() {
		for e := range 2 {
			sign := half
			if e == 1 {
				sign = -half
			}
			for r := range n {
				row := out.RawRowView(l.Channel(e, k) + r)
				for c := range cs {
					row[c] = half * rs.At(k*n+r, c)
				}
				for c := range cd {
					row[cs+c] = sign * rd.At(k*n+r, c)
				}
			}
		}
	}
	for m := range l.Models {
		l.FillPosition(out, m, cs+cd+placing.HeadsetDim*m, stats.CholeskyRoot(s.Between[m]))
	}
	l.FillConfounded(out, s.Confounded, 1, cs+cd+placing.HeadsetDim*l.Models)
	if l.Read {
		l.FillLandmark(out, cs+cd+l.smallColumns()-placing.ReadDim, landmarkMM)
	}
	return l.newFactor(out, rs, rd)
}

// balancedRoot is eigenRoot on the scale of each band's own standard
// deviation: low frequencies, where ears differ little, tell positions best
// and must not drown.
func balancedRoot(c *mat.SymDense) *mat.Dense {
	n := c.SymmetricDim()
	sd := make([]float64, n)
	for i := range sd {
		sd[i] = math.Sqrt(c.At(i, i))
	}
	unit := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			unit.SetSym(i, j, c.At(i, j)/(sd[i]*sd[j]))
		}
	}
	root := stats.EigenRoot(unit, 0)
	_, cols := root.Dims()
	first := 0
	for ; first < cols-1; first++ {
		var v float64
		for i := range n {
			v += root.At(i, first) * root.At(i, first)
		}
		if v > rootCut {
			break
		}
	}
	out := mat.DenseCopyOf(root.Slice(0, n, first, cols))
	for i := range n {
		row := out.RawRowView(i)
		for j := range row {
			row[j] *= sd[i]
		}
	}
	return out
}
