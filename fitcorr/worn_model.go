package fitcorr

import (
	"math"

	"gonum.org/v1/gonum/mat"
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
	bands     positionBands
	models    []*panelModel
	listeners []*listener
	bare      bool // a bare-ear reference exists: one channel more per ear
	width     int  // channels per ear
}

// panelModel is one headphone model worn by the panel.
type panelModel struct {
	ears   [2]earModel
	ratio  float64 // worn scatter over fixture scatter, as standard deviations
	within *mat.SymDense
}

type listener struct {
	subject string
	worn    []wornSeating
	bare    []bareReference
}

type wornSeating struct {
	model int
	id    int // into the model's seatings
	obs   observation
	at    [headsetDim]float64 // linearisation point
	// Filled by linearise: both ears stacked.
	z      *mat.VecDense
	slope  *mat.Dense    // 2n × 6
	weight *mat.SymDense // inverse covariance with the seating's own position marginalised out
	inner  *mat.SymDense // inverse covariance given the position
}

type bareReference struct {
	level    [2][]float64
	variance [2][]float64
	present  [2]bool
}

// dimensions of a latent vector.
func (p *panel) earDim() int   { return 2 * p.width * p.bands.n }
func (p *panel) dim() int      { return p.earDim() + headsetDim*len(p.models) }
func (p *panel) channels() int { return 2 * p.width }
func (p *panel) channel(e, m int) int {
	return (e*p.width + m) * p.bands.n
}
func (p *panel) position(m int) int { return p.earDim() + headsetDim*m }

// index lists the entries of u that a seating of model m sees: both ears'
// channels, then the position.
func (p *panel) index(m int) []int {
	n := p.bands.n
	idx := make([]int, 0, 2*n+headsetDim)
	for e := range 2 {
		for r := range n {
			idx = append(idx, p.channel(e, m)+r)
		}
	}
	for a := range headsetDim {
		idx = append(idx, p.position(m)+a)
	}
	return idx
}

// linearise prepares a seating at its current position.
func (p *panel) linearise(w *wornSeating) bool {
	m := p.models[w.model]
	n := p.bands.n
	w.z = mat.NewVecDense(2*n, nil)
	w.slope = mat.NewDense(2*n, headsetDim, nil)
	cov := mat.NewSymDense(2*n, nil)
	for e := range 2 {
		if !w.obs.present[e] {
			for r := range n {
				cov.SetSym(e*n+r, e*n+r, missingVar)
			}
			continue
		}
		em := &m.ears[e]
		d := [3]float64(w.at[3*e : 3*e+3])
		level, slope, excess := em.survey.surface(p.bands, d)
		for r := range n {
			v := w.obs.level[e][r] - level[r]
			for a := range 3 {
				w.slope.Set(e*n+r, 3*e+a, slope[a][r])
				v += slope[a][r] * d[a]
			}
			w.z.SetVec(e*n+r, v)
		}
		c := em.covariance(m.ratio*m.ratio, excess, w.obs.variance[e])
		for i := range n {
			for j := i; j < n; j++ {
				cov.SetSym(e*n+i, e*n+j, c.At(i, j))
			}
		}
	}
	var chol mat.Cholesky
	w.inner = mat.NewSymDense(2*n, nil)
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
	w.weight = symmetric(&out)
	return true
}

// evidence is what one listener's recordings say about u_s.
type evidence struct {
	prec *mat.SymDense
	rhs  *mat.VecDense
}

func (p *panel) evidenceOf(l *listener) evidence {
	d := p.dim()
	n := p.bands.n
	ev := evidence{mat.NewSymDense(d, nil), mat.NewVecDense(d, nil)}
	for i := range l.worn {
		w := &l.worn[i]
		idx := p.index(w.model)
		// H = [I, J]: columns of ears, then of the position.
		var wj, jwj mat.Dense
		var wz, jwz mat.VecDense
		wj.Mul(w.weight, w.slope)
		jwj.Mul(w.slope.T(), &wj)
		wz.MulVec(w.weight, w.z)
		jwz.MulVec(wj.T(), w.z)
		for a := range 2 * n {
			for b := a; b < 2*n; b++ {
				addSym(ev.prec, idx[a], idx[b], w.weight.At(a, b))
			}
			for b := range headsetDim {
				addSym(ev.prec, idx[a], idx[2*n+b], wj.At(a, b))
			}
			ev.rhs.SetVec(idx[a], ev.rhs.AtVec(idx[a])+wz.AtVec(a))
		}
		for a := range headsetDim {
			for b := a; b < headsetDim; b++ {
				addSym(ev.prec, idx[2*n+a], idx[2*n+b], jwj.At(a, b))
			}
			ev.rhs.SetVec(idx[2*n+a], ev.rhs.AtVec(idx[2*n+a])+jwz.AtVec(a))
		}
	}
	for _, r := range l.bare {
		for e := range 2 {
			if !r.present[e] {
				continue
			}
			cov := mat.NewSymDense(n, nil)
			for i := range n {
				for j := i; j < n; j++ {
					cov.SetSym(i, j, gainSD*gainSD)
				}
				cov.SetSym(i, i, gainSD*gainSD+bareFloorDB*bareFloorDB+r.variance[e][i])
			}
			var chol mat.Cholesky
			var inv mat.SymDense
			if !chol.Factorize(cov) || chol.InverseTo(&inv) != nil {
				continue
			}
			c := p.channel(e, p.width-1)
			var wz mat.VecDense
			wz.MulVec(&inv, mat.NewVecDense(n, r.level[e]))
			for i := range n {
				for j := i; j < n; j++ {
					addSym(ev.prec, c+i, c+j, inv.At(i, j))
				}
				ev.rhs.SetVec(c+i, ev.rhs.AtVec(c+i)+wz.AtVec(i))
			}
		}
	}
	return ev
}

// bareFloorDB keeps the bare-ear channel from being trusted beyond what any
// repeated recording shows.
const bareFloorDB = 0.1

func addSym(m *mat.SymDense, i, j int, v float64) {
	m.SetSym(i, j, m.At(i, j)+v)
}

// spread holds the parameters of Λ: how ears and positions differ.
type spread struct {
	sd      [][]float64   // per channel, per position band
	channel *mat.SymDense // correlation between channels
	width   float64       // octaves of the correlation over frequency
	nugget  float64
	between []*mat.SymDense // per model, headsetDim
}

// frequencyRoot returns a square root of the correlation over frequency.
func frequencyRoot(bands positionBands, width, nugget float64) *mat.Dense {
	c := mat.NewSymDense(bands.n, nil)
	for i := range bands.n {
		for j := i; j < bands.n; j++ {
			o := bands.octaves(i, j) / width
			v := (1 - nugget) * (1 + math.Sqrt(3)*o) * math.Exp(-math.Sqrt(3)*o)
			if i == j {
				v = 1
			}
			c.SetSym(i, j, v)
		}
	}
	return eigenRoot(c, 3e-3)
}

// eigenRoot returns L with LL' = c up to eigenvalues below cut times the
// largest, as columns.
func eigenRoot(c mat.Symmetric, cut float64) *mat.Dense {
	var eig mat.EigenSym
	n := c.SymmetricDim()
	if !eig.Factorize(c, true) {
		return mat.NewDense(n, 1, nil)
	}
	val := eig.Values(nil)
	var vec mat.Dense
	eig.VectorsTo(&vec)
	first := 0
	for first < n-1 && val[first] < cut*val[n-1] {
		first++
	}
	out := mat.NewDense(n, n-first, nil)
	for k := first; k < n; k++ {
		s := math.Sqrt(math.Max(val[k], 0))
		for i := range n {
			out.Set(i, k-first, s*vec.At(i, k))
		}
	}
	return out
}

// root returns L with Λ = LL': the ears' part is (diag sd)(C ⊗ R)(diag sd),
// the positions' part block diagonal.
func (p *panel) root(s *spread) *mat.Dense {
	f := frequencyRoot(p.bands, s.width, s.nugget)
	c := eigenRoot(s.channel, 1e-4)
	_, fr := f.Dims()
	ch, cr := c.Dims()
	n := p.bands.n
	out := mat.NewDense(p.dim(), fr*cr+headsetDim*len(p.models), nil)
	for i := range ch {
		for r := range n {
			row := i*n + r
			for a := range cr {
				v := s.sd[i][r] * c.At(i, a)
				if v == 0 {
					continue
				}
				for b := range fr {
					out.Set(row, a*fr+b, v*f.At(r, b))
				}
			}
		}
	}
	for m := range p.models {
		r := eigenRoot(s.between[m], 1e-9)
		_, k := r.Dims()
		for i := range headsetDim {
			for j := range k {
				out.Set(p.position(m)+i, fr*cr+headsetDim*m+j, r.At(i, j))
			}
		}
	}
	return out
}
