package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
)

// covariances holds Λ: how ears and positions differ from person to person. Left
// and right are alike in law, so the ears' part is held as the covariance of
// (left + right)/√2 and of (left − right)/√2, each over the channels of one ear.
type covariances struct {
	sum, diff  *mat.SymDense   // width·n, channel by channel
	between    []*mat.SymDense // per model, headsetDim
	confounded *mat.SymDense   // headsetDim: ear differences that look like a movement
	// fixture is the variance of the fixture's ear over that of a person's, 1 or
	// more: of (left + right)/√2, which the confounded part goes with, and of
	// (left − right)/√2.
	fixture [2]float64
}

// root returns L with Λ = LL'.
func (p *panel) root(s *covariances) factor {
	rs, rd := balancedRoot(s.sum), balancedRoot(s.diff)
	_, cs := rs.Dims()
	_, cd := rd.Dims()
	n := p.bands.N
	out := mat.NewDense(p.dim(), cs+cd+p.smallColumns(), nil)
	half := math.Sqrt(0.5)
	for k := range p.width() {
		for e := range 2 {
			sign := half
			if e == 1 {
				sign = -half
			}
			for r := range n {
				row := out.RawRowView(p.channel(e, k) + r)
				for c := range cs {
					row[c] = half * rs.At(k*n+r, c)
				}
				for c := range cd {
					row[cs+c] = sign * rd.At(k*n+r, c)
				}
			}
		}
	}
	for m := range p.models {
		p.fillPosition(out, m, cs+cd+position.HeadsetDim*m, stats.CholeskyRoot(s.between[m]))
	}
	p.fillConfounded(out, s.confounded, 1, cs+cd+position.HeadsetDim*len(p.models))
	if p.read {
		p.fillLandmark(out, cs+cd+p.smallColumns()-position.ReadDim, p.reading.LandmarkMM)
	}
	return p.newFactor(out, rs, rd)
}

// root0 returns L₀: the fixture's own ear, the survey's error at the panel's
// mean position, which all its seatings share, and the prior of the worn means. Its
// first columns are those of L that are of ears, each times scale.
func (p *panel) root0(s *covariances, l factor) (root *mat.Dense, scale []float64) {
	n := p.bands.N
	ears, lc := l.cols()
	var survey []*mat.Dense
	cols := lc
	if p.read {
		cols += position.ReadDim * len(p.models)
	}
	for _, m := range p.models {
		for e := range 2 {
			if m.ears[e].Survey == nil {
				survey = append(survey, nil)
				continue
			}
			excess := m.excess[e]
			c := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					c.SetSym(i, j, math.Sqrt(excess[i]*excess[j])*m.ears[e].Total.At(i, j))
				}
			}
			r := stats.EigenRoot(c, 0.03)
			_, k := r.Dims()
			cols += k
			survey = append(survey, r)
		}
	}
	out := mat.NewDense(p.dim(), cols, nil)
	scale = make([]float64, ears)
	for j := range scale {
		scale[j] = math.Sqrt(s.fixture[0])
		if j >= l.ears[0] {
			scale[j] = math.Sqrt(s.fixture[1])
		}
		for i := range p.dim() { // zero on the rows of positions
			out.Set(i, j, scale[j]*l.whole.At(i, j))
		}
	}
	prior := stats.CholeskyRoot(position.WornPrior())
	for m := range p.models {
		p.fillPosition(out, m, ears+position.HeadsetDim*m, prior)
	}
	p.fillConfounded(out, s.confounded, math.Sqrt(s.fixture[0]), ears+position.HeadsetDim*len(p.models))
	col := lc
	if p.read {
		p.fillLandmark(out, lc-position.ReadDim, p.reading.FixtureLandmarkMM)
		col += p.fillMarks(out, lc)
	}
	for i, r := range survey {
		if r == nil {
			continue
		}
		_, w := r.Dims()
		row := p.channel(i%2, i/2)
		for a := range n {
			for b := range w {
				out.Set(row+a, col+b, r.At(a, b))
			}
		}
		col += w
	}
	return out, scale
}

// smallColumns is how many columns of a root are not of ears: positions, what
// looks like one, and the landmark.
func (l layout) smallColumns() int {
	c := position.HeadsetDim * (2*l.models + 1)
	if l.read {
		c += position.ReadDim
	}
	return c
}

// fillPosition sets the columns of a root that move the position of model m.
func (l layout) fillPosition(out *mat.Dense, m, col int, root *mat.Dense) {
	for i := range position.HeadsetDim {
		for j := range position.HeadsetDim {
			out.Set(l.position(m)+i, col+j, root.At(i, j))
		}
	}
}

// fillConfounded sets the columns of what looks like a movement and is not: a part
// that all models share, and one of each model's own. scale is a factor on the
// standard deviations.
func (l layout) fillConfounded(out *mat.Dense, cov *mat.SymDense, scale float64, col int) {
	root := stats.CholeskyRoot(cov)
	root.Scale(scale, root)
	for m := range l.models {
		own := col + position.HeadsetDim*(m+1)
		for i := range position.HeadsetDim {
			for j := range position.HeadsetDim {
				v, w := root.At(i, j), math.Sqrt(confoundedOwn)*root.At(i, j)
				out.Set(l.position(m)+i, col+j, v)
				out.Set(l.confounded(m)+i, col+j, v)
				out.Set(l.position(m)+i, own+j, w)
				out.Set(l.confounded(m)+i, own+j, w)
			}
		}
	}
}

// fillLandmark sets the columns of a landmark's error, the same in all models.
func (l layout) fillLandmark(out *mat.Dense, col int, sd float64) {
	for m := range l.models {
		for a := range position.ReadDim {
			out.Set(l.landmark(m)+a, col+a, sd)
		}
	}
}

// fillMarks sets the columns of what the marks err by, each model its own, and
// returns how many they are.
func (p *panel) fillMarks(out *mat.Dense, col int) int {
	for m, pm := range p.models {
		for a := range position.ReadDim {
			out.Set(p.landmark(m)+a, col+position.ReadDim*m+a, math.Sqrt(pm.mark.Variance[a]))
		}
	}
	return position.ReadDim * len(p.models)
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
