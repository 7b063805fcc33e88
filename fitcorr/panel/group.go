package panel

import (
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// group is listeners whose levels have the same precision, which is the rule when everybody
// wore everything equally often: what depends on it alone is computed once. Readings, which
// weigh unlike, are a precision of small rank that each listener adds (listenerFit). Matrices are
// dim square unless said otherwise.
type group struct {
	effects.Layout
	members []int
	kinds   []*kind         // of the seatings of each
	bare    []bareReference // of one of them
	own     []*kind         // each of kinds once; the readings of own[i] have rows i·ReadDim on

	blocks  []*mat.Dense // P, the precision of the levels, in blocks that begin where the layout's do; nil where there is none
	ruler   *mat.Dense   // G: the precision of readings is G'AG; rows × dim
	given   *mat.Dense   // V: see eliminate
	pull    *mat.Dense   // VP
	reduced *mat.Dense   // M, of its diagonal and above
	logDet  float64      // of ΛP + I
	seen    *mat.Dense   // GV, rows × dim
	unseen  *mat.Dense   // G − GVP, rows × dim
	// With T the root of Cov(θ), as many columns as T:
	shared *mat.Dense // VPT, dim rows
	ruled  *mat.Dense // (G − GVP)T, as many rows as G
	asked  []asked    // per model
}

// grouped parts the listeners into groups.
func (p *panel) grouped() (groups []*group) {
	for li, l := range p.listeners {
		var kinds []*kind
		for i := range l.worn {
			kinds = append(kinds, l.worn[i].kind)
		}
		at := slices.IndexFunc(groups, func(g *group) bool {
			return slices.Equal(g.kinds, kinds) && slices.EqualFunc(g.bare, l.bare, bareReference.samePrecision)
		})
		if at < 0 {
			at, groups = len(groups), append(groups, p.newGroup(kinds, l.bare))
		}
		groups[at].members = append(groups[at].members, li)
	}
	return groups
}

// newGroup is a group without members.
func (p *panel) newGroup(kinds []*kind, bare []bareReference) *group {
	g := &group{Layout: p.Layout, kinds: kinds, bare: bare, blocks: make([]*mat.Dense, p.Width())}
	for _, k := range kinds {
		if !slices.Contains(g.own, k) {
			g.own = append(g.own, k)
		}
		g.add(k.like.model, 0, k.levels)
	}
	for _, b := range bare {
		for e, inner := range b.inner {
			if inner != nil {
				g.add(p.Models+b.place, e*p.Bands.N, inner)
			}
		}
	}
	g.ruler = mat.NewDense(placing.ReadDim*len(g.own), p.Dim(), nil)
	for i, k := range g.own {
		from := p.Start(k.like.model)
		stats.RowsOfDense(g.ruler, placing.ReadDim*i, placing.ReadDim).Slice(0, placing.ReadDim, from, from+p.Block()).(*mat.Dense).Copy(k.ruler)
	}
	return g
}

// add adds a precision to a block of P, from a row of it on.
func (g *group) add(block, from int, precision *mat.Dense) {
	if g.blocks[block] == nil {
		size := 2 * g.Bands.N
		if block < g.Layout.Models {
			size += placing.HeadsetDim
		}
		g.blocks[block] = mat.NewDense(size, size, nil)
	}
	n, _ := precision.Dims()
	part := g.blocks[block].Slice(from, from+n, from, from+n).(*mat.Dense)
	part.Add(part, precision)
}

// place is where a kind stands in own.
func (g *group) place(k *kind) int { return slices.Index(g.own, k) }

// workspaces is memory that is kept from round to round: of solve, and of each group.
type workspaces struct {
	sum, half, precision, root *mat.Dense
	groups                     []workspace
}

// workspace is that of eliminate and follow.
type workspace struct{ sum, given, pull, reduced, shared *mat.Dense }

// zeroed returns a matrix of zeros, m if that has the size.
func zeroed(m **mat.Dense, rows, cols int) *mat.Dense {
	if *m != nil && (*m).RawMatrix().Rows == rows && (*m).RawMatrix().Cols == cols {
		(*m).Zero()
	} else {
		*m = mat.NewDense(rows, cols, nil)
	}
	return *m
}

// eliminate marginalises x_s out and reports whether the equations determine it. With P
// the precision of the levels
//
//	V = (Λ⁻¹ + P)⁻¹,  M = P − PVP,
//
// x_s given θ and the levels is normal with mean V(q − Pθ) and covariance V, and the levels say
// of θ that q − PVq is normal with mean Mθ and covariance M. What space held of the round
// before is overwritten.
func (g *group) eliminate(prior effects.Prior, space *workspace) bool {
	index, count := g.Values()
	dim := g.Dim()
	sum := zeroed(&space.sum, count, count)
	sum.Copy(prior.Inverse)
	for k, b := range g.blocks {
		if b == nil {
			continue
		}
		at := index[g.Start(k):]
		for i := range b.RawMatrix().Rows {
			row := sum.RawRowView(at[i])
			for j, v := range b.RawRowView(i) {
				row[at[j]] += v
			}
		}
	}
	logDet, ok := stats.Invert(sum)
	if !ok {
		return false
	}
	g.logDet = logDet + prior.LogDet
	g.given, g.pull, g.reduced = zeroed(&space.given, dim, dim), zeroed(&space.pull, dim, dim), zeroed(&space.reduced, dim, dim)
	for i, a := range index {
		from, to := sum.RawRowView(a), g.given.RawRowView(i)
		for j, b := range index {
			to[j] = from[b]
		}
	}
	g.seen = stats.Product(g.ruler, g.given)
	g.unseen = mat.DenseCopyOf(g.ruler)
	for k, b := range g.blocks {
		if b == nil {
			continue
		}
		from := g.Start(k)
		to := from + b.RawMatrix().Rows
		stats.Multiply(g.pull.Slice(0, dim, from, to).(*mat.Dense), g.given.Slice(0, dim, from, to).(*mat.Dense), b)
		rows, _ := g.ruler.Dims()
		part := g.unseen.Slice(0, rows, from, to).(*mat.Dense)
		part.Sub(part, stats.Product(g.seen.Slice(0, rows, from, to).(*mat.Dense), b))
	}
	for k, b := range g.blocks { // when all columns of pull are there
		if b == nil {
			continue
		}
		from := g.Start(k)
		to := from + b.RawMatrix().Rows
		right := g.reduced.Slice(from, to, from, dim).(*mat.Dense)
		stats.Multiply(right, b, g.pull.Slice(from, to, from, dim).(*mat.Dense))
		right.Scale(-1, right)
		own := g.reduced.Slice(from, to, from, to).(*mat.Dense)
		own.Add(own, b)
	}
	return true
}

// precision returns P·x.
func (g *group) precision(x *mat.VecDense) *mat.VecDense {
	out := mat.NewVecDense(x.Len(), nil)
	for k, b := range g.blocks {
		if b != nil {
			from := g.Start(k)
			to := from + b.RawMatrix().Rows
			out.SliceVec(from, to).(*mat.VecDense).MulVec(b, x.SliceVec(from, to))
		}
	}
	return out
}
