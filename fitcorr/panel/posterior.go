package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// asked is what a group's listeners have in common of the functions of a model's block of which
// a covariance is asked for (functions).
type asked struct {
	own    *mat.Dense // their covariance by V, square
	seen   *mat.Dense // of VG', functions × rows of G
	root   *mat.Dense // of T, functions × its columns
	shared *mat.Dense // of VPT, the same
}

// follow works out how x_s follows θ, and what is asked of a block.
func (g *group) follow(fit *panelFit, space *workspace) {
	size := g.Block()
	dim, cols := fit.thetaRoot.Dims()
	rows, _ := g.seen.Dims()
	g.shared, g.ruled = zeroed(&space.shared, dim, cols), mat.NewDense(rows, cols, nil)
	fit.times(g.shared, g.pull, fit.thetaRoot)
	fit.times(g.ruled, g.unseen, fit.thetaRoot)
	for m := range fit.models {
		from := g.Start(m)
		half := g.functions(m, g.given.Slice(from, from+size, from, from+size).(*mat.Dense))
		g.asked = append(g.asked, asked{
			own:    g.functions(m, stats.Transposed(half)),
			seen:   g.functions(m, stats.Transposed(g.seen.Slice(0, rows, from, from+size).(*mat.Dense))),
			root:   g.functions(m, stats.RowsOfDense(fit.thetaRoot, from, size)),
			shared: g.functions(m, stats.RowsOfDense(g.shared, from, size)),
		})
	}
}

// functions returns those of a block's rows, of: where the listener wears the model on average
// (the apparent position less the confounded part), the error of the landmark, the confounded part, then
// what each kind of the model's seatings shows of u. As many columns as of.
func (g *group) functions(m int, of *mat.Dense) *mat.Dense {
	const dim = placing.HeadsetDim
	_, cols := of.Dims()
	at := g.kindsFrom()
	out := mat.NewDense(at+len(g.own)*(dim+placing.ReadDim), cols, nil)
	apparent, confounded := stats.RowsOfDense(of, g.Position(0), dim), stats.RowsOfDense(of, g.Confounded(0), dim)
	stats.RowsOfDense(out, 0, dim).Sub(apparent, confounded)
	stats.RowsOfDense(out, at-dim, dim).Copy(confounded)
	if g.Read {
		stats.RowsOfDense(out, dim, placing.ReadDim).Copy(stats.RowsOfDense(of, g.Landmark(0), placing.ReadDim))
	}
	for _, k := range g.own {
		if k.like.model == m {
			stats.Multiply(stats.RowsOfDense(out, at, dim+placing.ReadDim), k.shown, of)
			at += dim + placing.ReadDim
		}
	}
	return out.Slice(0, at, 0, cols).(*mat.Dense)
}

// kindsFrom is the first of functions that is of a kind of seatings.
func (g *group) kindsFrom() int {
	if g.Read {
		return 2*placing.HeadsetDim + placing.ReadDim
	}
	return 2 * placing.HeadsetDim
}

// functionsOf is the first of functions that is of a kind.
func (g *group) functionsOf(k *kind) int {
	at := g.kindsFrom()
	for _, other := range g.own[:g.place(k)] {
		if other.like.model == k.like.model {
			at += placing.HeadsetDim + placing.ReadDim
		}
	}
	return at
}

// block is what is not known of a listener's block of one model, by its functions.
type block struct {
	own    *mat.Dense    // covariance with θ known
	shared *mat.Dense    // how u follows θ: functions × columns of T
	cov    *mat.SymDense // of functions of u, own + shared·shared'
	x      *mat.SymDense // of the same of x, of the functions before those of kinds
}

// blockOf works out that of model m.
func (lf *listenerFit) blockOf(m int) *block {
	a := &lf.asked[m]
	var seen, own mat.Dense
	seen.Mul(a.seen, lf.less)
	own.Mul(&seen, a.seen.T())
	own.Sub(a.own, &own)
	of := stats.Product(&seen, lf.ruled)
	of.Add(a.shared, of)
	b := &block{own: &own, shared: mat.NewDense(of.RawMatrix().Rows, of.RawMatrix().Cols, nil), cov: stats.Symmetric(&own)}
	b.shared.Sub(a.root, of)
	at := lf.kindsFrom()
	b.x = mat.NewSymDense(at, nil)
	b.x.CopySym(b.cov)
	stats.AddOuter(b.x, 1, stats.RowsOfDense(of, 0, at))
	stats.AddOuter(b.cov, 1, b.shared)
	return b
}

// seatPosterior is the position of one worn seating.
type seatPosterior struct {
	pos      [placing.HeadsetDim]float64
	own      *mat.VecDense // w: the seating's own part
	resid    []float64     // z − Hu − Jw of the levels, dB
	beside   []float64     // the same of the reading, mm; nil where there is none
	given    *mat.Dense    // Cov(w|u), HeadsetDim square
	ownCov   *mat.Dense    // Cov(w), HeadsetDim square
	jacobian *mat.Dense    // the position follows the block's functions of u, HeadsetDim × functions
	block    *block
}

// seatingOf works out that of one seating.
func (lf *listenerFit) seatingOf(fit *panelFit, w *wornSeating) *seatPosterior {
	const dim = placing.HeadsetDim
	k, b := w.kind, lf.blocks[w.model]
	from, n2 := lf.Start(w.model), 2*lf.Bands.N
	u := lf.u.SliceVec(from, from+lf.Block()).(*mat.VecDense)
	functions, _ := b.own.Dims()
	sp := &seatPosterior{own: new(mat.VecDense), given: k.given, block: b, jacobian: mat.NewDense(dim, functions, nil)}
	var rest, moved mat.VecDense
	moved.MulVec(k.slope, u.SliceVec(n2, n2+dim))
	rest.AddVec(u.SliceVec(0, n2), &moved)
	rest.SubVec(w.z, &rest)
	sp.own.MulVec(k.gain, &rest)
	rows := mat.NewDense(dim, functions, nil) // w follows −rows
	at := lf.functionsOf(k)
	for i := range dim {
		rows.Set(i, at+i, 1)
		sp.jacobian.Set(i, i, 1)
	}
	if w.told != nil {
		var across, gain, less mat.Dense
		var beside, more, back mat.VecDense
		across.Mul(k.given, middle.T())
		gain.Mul(&across, w.told)
		beside.MulVec(k.ruler, u)
		beside.SubVec(w.beside, &beside)
		more.MulVec(&gain, &beside)
		sp.own.AddVec(sp.own, &more)
		back.MulVec(middle, &more)
		beside.SubVec(&beside, &back)
		sp.beside = beside.RawVector().Data
		rows.Slice(0, dim, at+dim, at+dim+placing.ReadDim).(*mat.Dense).Copy(&gain)
		less.Mul(&gain, across.T())
		sp.given = new(mat.Dense)
		sp.given.Sub(k.given, &less)
	}
	for i := range sp.pos {
		sp.pos[i] = u.AtVec(n2+i) - u.AtVec(n2+dim+i) + sp.own.AtVec(i)
	}
	moved.MulVec(k.slope, sp.own)
	rest.SubVec(&rest, &moved)
	sp.resid = rest.RawVector().Data
	sp.ownCov = b.of(rows)
	sp.ownCov.Add(sp.ownCov, sp.given)
	sp.jacobian.Sub(sp.jacobian, rows)
	return sp
}

// of returns the covariance of linear functions of the block's functions, by rows; rows square.
func (b *block) of(rows *mat.Dense) *mat.Dense {
	var half, cov mat.Dense
	half.Mul(rows, b.cov)
	cov.Mul(&half, rows.T())
	return &cov
}

// cov is the covariance of the position, HeadsetDim square.
func (sp *seatPosterior) cov() *mat.SymDense {
	d := sp.block.of(sp.jacobian)
	d.Add(d, sp.given)
	return stats.Symmetric(d)
}

// allModels asks each for the seatings of all models.
const allModels = -1

// each calls f with the posterior of every worn seating of a model, in order.
func (fit *panelFit) each(model int, f func(li int, w *wornSeating, sp *seatPosterior)) {
	for li, l := range fit.listeners {
		for i := range l.worn {
			if w := &l.worn[i]; model == allModels || w.model == model {
				f(li, w, fit.per[li].seats[i])
			}
		}
	}
}
