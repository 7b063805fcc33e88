package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// kind is what the seatings of one model have in common whose levels have the same covariance,
// about the straight surface: one a model as a rule, since noise is pooled. Of the package
// comment's z, H, J and e it has the levels, 2n of both ears; R is the covariance of e.
type kind struct {
	like   *wornSeating  // one of them
	slope  *mat.Dense    // J, 2n × HeadsetDim
	inner  [2]*mat.Dense // R⁻¹ per ear, n × n
	logDet float64       // log|R + JDJ'|
	known  *mat.Dense    // J'R⁻¹J, HeadsetDim square
	given  *mat.Dense    // C = (D⁻¹ + J'R⁻¹J)⁻¹: Cov(w) by the levels with u known, HeadsetDim square
	gain   *mat.Dense    // K = CJ'R⁻¹: w by the levels is K(z − Hu), HeadsetDim × 2n
	levels *mat.Dense    // H'(R + JDJ')⁻¹H over what levels speak of: ears and apparent position
	// moved is KH, HeadsetDim × block. ruler is what a reading shows of u beside the levels: the reading
	// less middle·Kz is ruler·u on average, ReadDim × block, mm; 0 without readings. Both are
	// rows of shown.
	moved, ruler, shown *mat.Dense
}

// middle is the mean of both cups forward and up, which is what is read: ReadDim × HeadsetDim.
var middle = mat.NewDense(placing.ReadDim, placing.HeadsetDim, []float64{
	0.5, 0, 0, 0.5, 0, 0,
	0, 0.5, 0, 0, 0.5, 0,
})

// newKind works out the kind of a seating; false where a covariance is not positive definite.
func (p *panel) newKind(w *wornSeating) (*kind, bool) {
	const dim = placing.HeadsetDim
	m, n2, size := p.models[w.model], 2*p.Bands.N, 2*p.Bands.N+placing.HeadsetDim
	k := &kind{like: w, slope: mat.NewDense(n2, dim, nil), levels: mat.NewDense(size, size, nil)}
	weight := k.levels.Slice(0, n2, 0, n2).(*mat.Dense)
	for e := range k.inner {
		from, to := e*p.Bands.N, (e+1)*p.Bands.N
		k.inner[e] = m.innerCovariance(w, e)
		logDet, ok := stats.Invert(k.inner[e])
		if !ok {
			return nil, false
		}
		k.logDet += logDet
		weight.Slice(from, to, from, to).(*mat.Dense).Copy(k.inner[e])
		for a := range 3 {
			for r := from; r < to && w.obs.Present[e]; r++ {
				k.slope.Set(r, 3*e+a, m.surface[e].Slope[a][r-from])
			}
		}
	}
	var pull, rest mat.Dense // R⁻¹J, and CD⁻¹ = I − CJ'R⁻¹J
	pull.Mul(weight, k.slope)
	k.known = new(mat.Dense)
	k.known.Mul(k.slope.T(), &pull)
	precision := mat.DenseCopyOf(m.within)
	logWithin, ok := stats.Invert(precision)
	if !ok {
		return nil, false
	}
	k.given = mat.NewDense(dim, dim, nil)
	k.given.Add(precision, k.known)
	logDet, ok := stats.Invert(k.given)
	if !ok {
		return nil, false
	}
	k.logDet += logWithin + logDet // |R + JDJ'| = |R|·|D|·|D⁻¹ + J'R⁻¹J|
	k.gain = stats.Product(k.given, stats.Transposed(&pull))
	rest.Mul(k.given, precision)
	across := k.levels.Slice(0, n2, n2, size).(*mat.Dense)
	across.Mul(&pull, &rest)
	k.levels.Slice(n2, size, 0, n2).(*mat.Dense).Copy(across.T())
	k.levels.Slice(n2, size, n2, size).(*mat.Dense).Mul(k.known, &rest)
	weight.Sub(weight, stats.Product(&pull, k.gain))
	k.shown = mat.NewDense(dim+placing.ReadDim, p.Block(), nil)
	k.moved, k.ruler = stats.RowsOfDense(k.shown, 0, dim), stats.RowsOfDense(k.shown, dim, placing.ReadDim)
	k.moved.Slice(0, dim, 0, n2).(*mat.Dense).Copy(k.gain)
	k.moved.Slice(0, dim, n2, size).(*mat.Dense).Mul(k.given, k.known)
	if p.Read {
		k.ruler.Mul(middle, k.moved)
		k.ruler.Sub(p.ruled(), k.ruler)
	}
	return k, true
}

// ruled is a reading as a linear function of a block, w apart: the place of both cups'
// middle, of which a ruler does not see what is ear, with the landmark's error. ReadDim × block.
func (p *panel) ruled() *mat.Dense {
	out := mat.NewDense(placing.ReadDim, p.Block(), nil)
	for a := range placing.ReadDim {
		for i := range placing.HeadsetDim {
			out.Set(a, p.Position(0)+i, middle.At(a, i))
			out.Set(a, p.Confounded(0)+i, -middle.At(a, i))
		}
		out.Set(a, p.Landmark(0)+a, 1)
	}
	return out
}

// innerCovariance is R of one ear of a seating, n × n, dB².
func (pm *panelModel) innerCovariance(w *wornSeating, e int) *mat.Dense {
	n := pm.ears[e].Bands.N
	cov := mat.NewDense(n, n, nil)
	if !w.obs.Present[e] {
		for r := range n {
			cov.Set(r, r, survey.MissingVar)
		}
		return cov
	}
	worn := pm.ears[e]
	worn.Scatter = pm.scatter[e]
	c, inflation := worn.Covariance(1, make([]float64, n), w.obs.Variance[e]), w.inflationOf(e)
	for i := range n {
		for j := i; j < n; j++ {
			v := inflation * (c.At(i, j) + pm.bend(e, i, j))
			cov.Set(i, j, v)
			cov.Set(j, i, v)
		}
	}
	return cov
}
