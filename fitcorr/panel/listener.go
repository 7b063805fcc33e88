package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
)

// listenerFit is the posterior of one listener's latent vector. With A the weights of the
// listener's readings, their precision G'AG changes what the group has to
//
//	V − X'ÃX,  M + Y'ÃY,  VP + X'ÃY,  Ã = (A⁻¹ + GVG')⁻¹,  X = GV,  Y = G − GVP
//
// (Woodbury; Horn & Johnson, Matrix Analysis, 2nd ed. 2013, section 0.7.4).
type listenerFit struct {
	*group
	rhs    *mat.VecDense    // what the recordings say about u_s: right-hand side of their precision
	told   *mat.Dense       // A, square of the rows of G
	less   *mat.Dense       // Ã, the same
	score  *mat.VecDense    // q − PVq of eliminate, readings included
	fit    float64          // what the deviance has of the listener, θ apart
	u      *mat.VecDense    // mean of u_s
	x      *mat.VecDense    // mean of x_s
	rest   *mat.VecDense    // what is left of rhs: rhs − precision·u
	blocks []*block         // per model
	seats  []*seatPosterior // of each worn seating
}

// hear sums up the recordings of a listener of a group that is eliminated. It reports whether they
// determine x_s.
func (lf *listenerFit) hear(g *group, l *listener) bool {
	rows, _ := g.ruler.Dims()
	*lf = listenerFit{group: g, rhs: mat.NewVecDense(g.Dim(), nil), told: mat.NewDense(rows, rows, nil)}
	beside := mat.NewVecDense(rows, nil)
	for i := range l.worn {
		w := &l.worn[i]
		size, n2 := w.kind.levels.RawMatrix().Rows, w.z.Len()
		from := g.Start(w.model)
		var levels mat.VecDense
		levels.MulVec(w.kind.levels.Slice(0, size, 0, n2), w.z)
		part := lf.rhs.SliceVec(from, from+size).(*mat.VecDense)
		part.AddVec(part, &levels)
		if w.told == nil {
			continue
		}
		at := placing.ReadDim * g.place(w.kind)
		var reading mat.VecDense
		reading.MulVec(w.told, w.beside)
		told := lf.told.Slice(at, at+placing.ReadDim, at, at+placing.ReadDim).(*mat.Dense)
		told.Add(told, w.told)
		sum := beside.SliceVec(at, at+placing.ReadDim).(*mat.VecDense)
		sum.AddVec(sum, &reading)
	}
	for i := range l.bare {
		b := &l.bare[i]
		for e, inner := range b.inner {
			if inner != nil {
				from := g.Channel(e, g.Models+b.place)
				var level mat.VecDense
				level.MulVec(inner, mat.NewVecDense(g.Bands.N, b.level[e]))
				part := lf.rhs.SliceVec(from, from+g.Bands.N).(*mat.VecDense)
				part.AddVec(part, &level)
			}
		}
	}
	var readings mat.VecDense
	readings.MulVec(g.ruler.T(), beside)
	lf.rhs.AddVec(lf.rhs, &readings)
	// Ã = A(I + GVG'A)⁻¹
	var across, factor mat.Dense
	across.Mul(g.seen, g.ruler.T())
	factor.Mul(&across, lf.told)
	for i := range rows {
		factor.Set(i, i, factor.At(i, i)+1)
	}
	logDet, _ := mat.LogDet(&factor)
	var inverse mat.Dense
	if inverse.Inverse(&factor) != nil || math.IsNaN(logDet) {
		return false
	}
	lf.less = mat.NewDense(rows, rows, nil)
	lf.less.Mul(lf.told, &inverse)
	own := lf.given(lf.rhs)
	lf.score = lf.precision(own)
	lf.score.SubVec(lf.rhs, lf.score)
	lf.fit = g.logDet + logDet - mat.Dot(own, lf.rhs)
	return true
}

// precision returns that of all recordings times x.
func (lf *listenerFit) precision(x *mat.VecDense) *mat.VecDense {
	return add(lf.group.precision(x), 1, lf.ruler, lf.told, x)
}

// says returns the covariance of rows of what the recordings say of θ, rows·M_s·rows'.
func (lf *listenerFit) says(rows *mat.Dense) *mat.Dense {
	var half, all, seen, weighed, readings mat.Dense
	half.Mul(rows, mat.NewSymDense(lf.Dim(), lf.reduced.RawMatrix().Data))
	all.Mul(&half, rows.T())
	seen.Mul(rows, lf.unseen.T())
	weighed.Mul(&seen, lf.less)
	readings.Mul(&weighed, seen.T())
	all.Add(&all, &readings)
	return &all
}

// given returns Cov(x_s|θ)·x.
func (lf *listenerFit) given(x *mat.VecDense) *mat.VecDense {
	out := new(mat.VecDense)
	out.MulVec(lf.group.given, x)
	return add(out, -1, lf.seen, lf.less, x)
}

// add adds scale·r'·c·r·x to out.
func add(out *mat.VecDense, scale float64, r, c *mat.Dense, x *mat.VecDense) *mat.VecDense {
	var small, weighed, wide mat.VecDense
	small.MulVec(r, x)
	weighed.MulVec(c, &small)
	wide.MulVec(r.T(), &weighed)
	out.AddScaledVec(out, scale, &wide)
	return out
}

// settle works out the posterior of x_s, u_s and the seatings once that of θ is known.
func (lf *listenerFit) settle(fit *panelFit, l *listener) {
	rest := lf.precision(fit.theta)
	rest.SubVec(lf.rhs, rest)
	lf.x, lf.u = lf.given(rest), new(mat.VecDense)
	lf.u.AddVec(lf.x, fit.theta)
	lf.rest = lf.precision(lf.x)
	lf.rest.SubVec(rest, lf.rest)
	for m := range fit.models {
		lf.blocks = append(lf.blocks, lf.blockOf(m))
	}
	for i := range l.worn {
		lf.seats = append(lf.seats, lf.seatingOf(fit, &l.worn[i]))
	}
}
