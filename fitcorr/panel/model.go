package panel

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// The panel model. Every listener s has one latent vector u_s: per channel —
// ear × (each model, and the bare ear) — the difference in dB of the
// listener's ear from the fixture's on the position bands, and per model the
// listener's own mean headset position. u_s = θ + x_s: θ is what all listeners
// share — minus the fixture's own ear, and the panel's mean position — and x_s
// what is a listener's own. Data about u_s come as a precision P_s and a
// right-hand side q_s, single seatings being marginalised out. θ and x_s have
// normal priors with covariances Λ₀ and Λ that the panel itself determines
// (docs/offsets.md).
type panel struct {
	bands     survey.Bands
	models    []*panelModel
	listeners []*listener
	bare      bool                       // a bare-ear reference exists: one channel more per ear
	read      bool                       // positions were read on heads: a landmark per model and rows of readings
	stated    capture.ReadingUncertainty // before the panel was heard
	reading   capture.ReadingUncertainty // as it shows now
	width     int                        // channels per ear
}

// panelModel is one headphone model worn by the panel.
type panelModel struct {
	setup   *position.Model
	ears    [2]position.Ear
	scatter [2]*mat.SymDense // dB², of a worn seating about ear and surface
	within  *mat.SymDense
	// slope is the surface's, at the panel's mean position and not at each
	// seating's own: the surface is the fixture's, and how it bends would
	// otherwise pass for knowledge of where people wear the headphone, though
	// their own surfaces bend differently.
	slope [2][3][]float64
	// displaced holds what listeners displaced on purpose say; extra is the sum
	// of their slopes and draws how many ears the slope is the mean of.
	displaced []displaced
	extra     [2][3][]float64
	draws     [2]float64
	excess    [2][]float64  // the survey's variance there, in units of its scatter's
	mark      position.Mark // what reading the fixture's rows gave at the marked position
}

type listener struct {
	subject string
	worn    []wornSeating
	bare    []bareReference
}

type wornSeating struct {
	model int
	id    int // into the model's seatings
	obs   position.Observation
	read  *[position.ReadDim]float64   // relative to the fixture's mark
	doubt [2]float64                   // per ear, factor on its variance when above 1
	at    [position.HeadsetDim]float64 // linearisation point
	// Filled by linearise: both ears stacked, then the read position.
	z      *mat.VecDense
	slope  *mat.Dense    // rows × 6
	weight *mat.SymDense // inverse covariance with the seating's own position marginalised out
	inner  *mat.SymDense // inverse covariance given the position
}

type bareReference struct {
	level    [2][]float64
	variance [2][]float64
	present  [2]bool
}

// The latent vector is laid out in blocks that the data keep apart: per model
// both ears' channels, the apparent headset position, the part of it that
// is not position but ear, and by how much readings on that head are off; then
// the bare ears' channels.
func (p *panel) block() int {
	b := 2*p.bands.N + 2*position.HeadsetDim
	if p.read {
		b += position.ReadDim
	}
	return b
}

// rows is the length of what one worn seating gives.
func (p *panel) rows() int {
	if p.read {
		return 2*p.bands.N + position.ReadDim
	}
	return 2 * p.bands.N
}

func (p *panel) dim() int {
	d := len(p.models) * p.block()
	if p.bare {
		d += 2 * p.bands.N
	}
	return d
}

func (p *panel) channel(e, k int) int { return k*p.block() + e*p.bands.N }

func (p *panel) position(m int) int { return m*p.block() + 2*p.bands.N }

func (p *panel) alike(m int) int { return p.position(m) + position.HeadsetDim }

func (p *panel) landmark(m int) int { return p.alike(m) + position.HeadsetDim }

// alike reports whether two seatings of one model have the same covariances:
// the rule, since noise is pooled.
func (w *wornSeating) alike(v *wornSeating) bool {
	same := w.obs.Present == v.obs.Present && (w.read == nil) == (v.read == nil) && w.doubt == v.doubt
	for e := range 2 {
		same = same && slices.Equal(w.obs.Variance[e], v.obs.Variance[e])
	}
	return same
}

// linearise prepares a seating at its current position. like is a seating of
// the model that is alike and prepared, or nil.
func (p *panel) linearise(w, like *wornSeating) bool {
	m := p.models[w.model]
	n := p.bands.N
	w.z = mat.NewVecDense(p.rows(), nil)
	w.slope = mat.NewDense(p.rows(), position.HeadsetDim, nil)
	cov := mat.NewSymDense(p.rows(), nil)
	for e := range 2 {
		if !w.obs.Present[e] {
			for r := range n {
				cov.SetSym(e*n+r, e*n+r, survey.MissingVar)
			}
			continue
		}
		em := &m.ears[e]
		d := [3]float64(w.at[3*e : 3*e+3])
		level := m.levelFor(p, e, d)
		slope := m.slope[e]
		for r := range n {
			v := w.obs.Level[e][r] - level[r]
			for a := range 3 {
				w.slope.Set(e*n+r, 3*e+a, slope[a][r])
				v += slope[a][r] * d[a]
			}
			w.z.SetVec(e*n+r, v)
		}
		if like != nil {
			continue
		}
		worn := *em
		worn.Scatter = m.scatter[e]
		c := worn.Covariance(1, make([]float64, n), w.obs.Variance[e])
		doubt := w.doubtOf(e)
		for i := range n {
			for j := i; j < n; j++ {
				cov.SetSym(e*n+i, e*n+j, doubt*c.At(i, j))
			}
		}
	}
	if p.read {
		p.addReading(w, cov)
	}
	if like != nil {
		w.inner, w.weight = like.inner, like.weight
		return true
	}
	var chol mat.Cholesky
	w.inner = mat.NewSymDense(p.rows(), nil)
	if !chol.Factorize(cov) || chol.InverseTo(w.inner) != nil {
		return false
	}
	return p.marginalise(w)
}

// marginalise sets weight = (R + J D J')⁻¹ for the current within-listener D.
func (p *panel) marginalise(w *wornSeating) bool {
	var wj, jwj, mid, prec, gain mat.Dense
	wj.Mul(w.inner, w.slope)
	jwj.Mul(w.slope.T(), &wj)
	if prec.Inverse(p.models[w.model].within) != nil {
		return false
	}
	prec.Add(&prec, &jwj)
	if mid.Inverse(&prec) != nil {
		return false
	}
	gain.Mul(&wj, &mid)
	var out mat.Dense
	out.Mul(&gain, wj.T())
	out.Sub(w.inner, &out)
	w.weight = stats.Symmetric(&out)
	return true
}

// evidence is what one listener's recordings say about u_s: a precision in
// diagonal blocks (nil where there is none) and a right-hand side.
type evidence struct {
	blocks []*mat.SymDense
	rhs    *mat.VecDense
}

func (p *panel) evidenceOf(l *listener) evidence {
	n, size := p.bands.N, p.block()
	ev := evidence{make([]*mat.SymDense, p.width), mat.NewVecDense(p.dim(), nil)}
	for i := range l.worn {
		w := &l.worn[i]
		if ev.blocks[w.model] == nil {
			ev.blocks[w.model] = mat.NewSymDense(size, nil)
		}
		// H = [I, J]: columns of ears, then of the position and what goes with it.
		near := p.near(w)
		_, small := near.Dims()
		var wj, jwj mat.Dense
		var wz, jwz mat.VecDense
		wj.Mul(w.weight, near)
		jwj.Mul(near.T(), &wj)
		wz.MulVec(w.weight, w.z)
		jwz.MulVec(wj.T(), w.z)
		blk, off := ev.blocks[w.model], w.model*size
		for a := range 2 * n {
			for b := a; b < 2*n; b++ {
				stats.AddSym(blk, a, b, w.weight.At(a, b))
			}
			for b := range small {
				stats.AddSym(blk, a, 2*n+b, wj.At(a, b))
			}
			ev.rhs.SetVec(off+a, ev.rhs.AtVec(off+a)+wz.AtVec(a))
		}
		for a := range small {
			for b := a; b < small; b++ {
				stats.AddSym(blk, 2*n+a, 2*n+b, jwj.At(a, b))
			}
			ev.rhs.SetVec(off+2*n+a, ev.rhs.AtVec(off+2*n+a)+jwz.AtVec(a))
		}
	}
	for i := range l.bare {
		p.addBareEvidence(&l.bare[i], ev)
	}
	return ev
}

func (p *panel) addBareEvidence(r *bareReference, ev evidence) {
	n, k := p.bands.N, p.width-1
	if ev.blocks[k] == nil {
		ev.blocks[k] = mat.NewSymDense(2*n, nil)
	}
	for e := range 2 {
		if !r.present[e] {
			continue
		}
		cov := mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				cov.SetSym(i, j, position.GainSD*position.GainSD)
			}
			cov.SetSym(i, i, position.GainSD*position.GainSD+bareFloorDB*bareFloorDB+r.variance[e][i])
		}
		var chol mat.Cholesky
		var inv mat.SymDense
		if !chol.Factorize(cov) || chol.InverseTo(&inv) != nil {
			continue
		}
		c := p.channel(e, k)
		var wz mat.VecDense
		wz.MulVec(&inv, mat.NewVecDense(n, r.level[e]))
		for i := range n {
			for j := i; j < n; j++ {
				stats.AddSym(ev.blocks[k], e*n+i, e*n+j, inv.At(i, j))
			}
			ev.rhs.SetVec(c+i, ev.rhs.AtVec(c+i)+wz.AtVec(i))
		}
	}
}

// times returns the precision times x.
func (p *panel) times(ev evidence, x *mat.Dense) *mat.Dense {
	rows, cols := x.Dims()
	out := mat.NewDense(rows, cols, nil)
	for k, b := range ev.blocks {
		if b == nil {
			continue
		}
		from := k * p.block()
		to := from + b.SymmetricDim()
		full := mat.DenseCopyOf(b) // a general product is faster than a symmetric one
		out.Slice(from, to, 0, cols).(*mat.Dense).Mul(full, x.Slice(from, to, 0, cols))
	}
	return out
}

// bareFloorDB keeps the bare-ear channel from being trusted beyond what any
// repeated recording shows.
const bareFloorDB = 0.1

// spread holds Λ: how ears and positions differ from person to person. Left
// and right are alike in law, so the ears' part is held as the covariance of
// (left + right)/√2 and of (left − right)/√2, each over the channels of one ear.
type spread struct {
	sum, diff *mat.SymDense   // width·n, channel by channel
	between   []*mat.SymDense // per model, headsetDim
	alike     *mat.SymDense   // headsetDim: ear differences that look like a movement
}

// root returns L with Λ = LL'. Ears come first, then positions.
func (p *panel) root(s *spread) *mat.Dense {
	rs, rd := balancedRoot(s.sum), balancedRoot(s.diff)
	_, cs := rs.Dims()
	_, cd := rd.Dims()
	n := p.bands.N
	out := mat.NewDense(p.dim(), cs+cd+p.smallColumns(), nil)
	half := math.Sqrt(0.5)
	for k := range p.width {
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
	p.fillAlike(out, s, cs+cd+position.HeadsetDim*len(p.models))
	if p.read {
		p.fillLandmark(out, cs+cd+p.smallColumns()-position.ReadDim, p.reading.LandmarkMM)
	}
	return out
}

// smallColumns is how many columns of a root are not of ears: positions, what
// looks like one, and the landmark.
func (p *panel) smallColumns() int {
	c := position.HeadsetDim * (2*len(p.models) + 1)
	if p.read {
		c += position.ReadDim
	}
	return c
}

// fillPosition sets the columns of a root that move the position of model m.
func (p *panel) fillPosition(out *mat.Dense, m, col int, root *mat.Dense) {
	for i := range position.HeadsetDim {
		for j := range position.HeadsetDim {
			out.Set(p.position(m)+i, col+j, root.At(i, j))
		}
	}
}

// fillAlike sets the columns of what looks like a movement and is not: a part
// that all models share, and one of each model's own.
func (p *panel) fillAlike(out *mat.Dense, s *spread, col int) {
	root := stats.CholeskyRoot(s.alike)
	for m := range p.models {
		own := col + position.HeadsetDim*(m+1)
		for i := range position.HeadsetDim {
			for j := range position.HeadsetDim {
				v, w := root.At(i, j), math.Sqrt(alikeOwn)*root.At(i, j)
				out.Set(p.position(m)+i, col+j, v)
				out.Set(p.alike(m)+i, col+j, v)
				out.Set(p.position(m)+i, own+j, w)
				out.Set(p.alike(m)+i, own+j, w)
			}
		}
	}
}

// alikeOwn is the variance of a model's own part of what looks like a
// movement, in terms of the part that the models share. Nothing in a study
// determines it, since a listener's own position in a model looks the same.
const alikeOwn = 0.4

// rootCut is the variance, relative to the mean per band, below which
// directions of ear difference are left out.
const rootCut = 5e-3

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
