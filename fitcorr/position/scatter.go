package position

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/internal/whiten"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// The ruler's error, as factors on its standard deviation: of what both cups have in common
// and of each one's own, whose squares sum to 1 (common practice, no source).
const (
	rulerCommon = 0.95
	rulerOwn    = 0.31
)

// Where the estimate of the ruler starts, mm, mm, degrees, and its prior: one row's worth at
// half a millimetre (common practice, no source).
var (
	startRuler    = [3]float64{0.4, 0.4, 0.8}
	priorRulerVar = 0.25 // mm² or degrees²
)

// scatterRounds are enough for the estimates to settle.
const scatterRounds = 6

// scatterSums are what the seatings of one round add up to.
type scatterSums struct {
	models *[2]placing.Ear
	ears   [2]*momentSum // of the scatter about the surface, dB²
	own    *draws        // of the scatter, both ears
	moved  [3]float64    // squared distance of survey rows from where their ruler put them, per axis
	count  [3]float64    // of ears in moved
	work   *residualWork
}

// fixtureScatter tells the scatter of a seating about the surface from the
// ruler's error, by expectation–maximisation (Dempster, Laird & Rubin, J. R. Stat. Soc. B
// 39(1), 1977): each survey row's position is estimated with its stated
// displacement as prior, and what is left belongs to the scatter. Ordinary
// fixture seatings join in with a wide prior. slip holds a survey row's variance
// multiplier per ear; those above 1 are left out. It sets Scatter and Total of
// both ears and returns the ruler's standard deviation per axis (mm, mm, degrees) and what
// describes the two covariances.
func fixtureScatter(rows []seat.Seating, ordinary []seat.Seating, models *[2]placing.Ear, slip [2][]float64) (ruler [3]float64, scatter, total [2]BandCov) {
	ruler = startRuler
	total = rowScatter(models, slip)
	for e := range models {
		if m := &models[e]; m.Survey != nil {
			m.Total, m.Scatter = total[e].Matrix(m.Bands), total[e].Matrix(m.Bands)
		}
	}
	wide := placing.FixturePrior()
	scatter = total
	pl := placing.NewPlacer(models)
	// Where an ordinary seating was in the last round is where the next one climbs from.
	before := make([]*[placing.HeadsetDim]float64, len(ordinary))
	work := newResidualWork(survey.NewBands().N)
	for range scatterRounds {
		sums := scatterSums{models: models, own: newDraws(survey.NewBands().N), work: work}
		for e := range models {
			sums.ears[e] = newMomentSum(survey.NewBands().N)
		}
		for i, s := range rows {
			v := s.Survey.Vector()
			prior := placing.Prior{Cov: placing.HeadsetCov(stats.Scaled3(ruler, rulerCommon), stats.Scaled3(ruler, rulerOwn))}
			for a := range 3 {
				prior.Mean[a], prior.Mean[3+a] = v[a], v[a]
			}
			if slip[0][i] > 1 || slip[1][i] > 1 {
				continue
			}
			o := placing.Observe(s, models)
			if p, ok := pl.MostLikely(o, prior, &prior.Mean); ok { // set to a fraction of a millimetre
				sums.addRow(i, o, prior, p)
			}
		}
		for i, s := range ordinary {
			o, from := placing.Observe(s, models), &before[i]
			if p, ok := pl.MostLikely(o, wide, *from); ok {
				*from = &p.Pos
				sums.addOrdinary(o, p)
			}
		}
		for e := range models {
			m := &models[e]
			if m.Survey == nil {
				continue
			}
			scatter[e] = sums.own.shrunk(sums.ears[e].fit(m.Bands, 2, total[e].Smooth, 1), m.Bands, 1)
			m.Scatter = scatter[e].Matrix(m.Bands)
		}
		for a := range 3 {
			ruler[a] = math.Sqrt((sums.moved[a] + priorRulerVar) / (sums.count[a] + 1))
		}
	}
	return ruler, scatter, total
}

// addRow adds survey row i, placed at p. The surface was made with the row and leaves but a
// part of its scatter (survey.Ear.LeftOver), for which it counts once.
func (t *scatterSums) addRow(i int, o placing.Observation, prior placing.Prior, p placing.Mode) {
	for e := range t.models {
		if !o.Present[e] {
			continue
		}
		m := &t.models[e]
		resid, extra := t.work.moments(m, o, p, e)
		left := m.Survey.LeftOver(i)
		t.ears[e].add(resid, extra, o.Variance[e], 1/left)
		t.own.add(resid, extra, 1/left)
		t.ears[e].scaleCount(o.Variance[e], 1-1/left)
	}
	for a := range 3 {
		for e := range t.models {
			if o.Present[e] {
				d := p.Pos[3*e+a] - prior.Mean[3*e+a]
				t.moved[a] += d*d + p.Cov.At(3*e+a, 3*e+a)
				t.count[a]++
			}
		}
	}
}

// addOrdinary adds an ordinary seating, placed at p. One that no position explains says
// nothing of how others scatter.
func (t *scatterSums) addOrdinary(o placing.Observation, p placing.Mode) {
	for e := range t.models {
		if !o.Present[e] || p.Misfit[e] > DoubtFar*math.Max(1, p.Dof[e]) {
			continue
		}
		resid, extra := t.work.moments(&t.models[e], o, p, e)
		t.ears[e].add(resid, extra, o.Variance[e], 1)
		t.own.add(resid, extra, 1)
	}
}

// rowScatter is the scatter of a survey row about the surface, the ruler's error included, per ear. The
// two cups and ears of a fixture scatter alike, so that the draws are those of both.
func rowScatter(models *[2]placing.Ear, slip [2][]float64) (total [2]BandCov) {
	bands := survey.NewBands()
	rows, each := newDraws(bands.N), 1.0
	for e := range models {
		if s := models[e].Survey; s != nil {
			x, per := s.On(bands).RowScatter(slip[e])
			each = max(each, per)
			for _, curve := range stats.RowsOf(x) {
				rows.add(curve, nil, 1)
			}
		}
	}
	for e := range models {
		if m := &models[e]; m.Survey != nil {
			total[e] = rows.shrunk(SmoothCov{SD: joinScatter(m), Width: 0.33, Nugget: 0.1}, bands, each)
		}
	}
	return total
}

// joinScatter returns the survey's scatter on the position bands, dB, n.
func joinScatter(m *placing.Ear) []float64 {
	sd := make([]float64, m.Bands.N)
	for r := range sd {
		lo, hi := m.Bands.Kept(r)
		var sum, n float64
		for b := lo; b < hi; b++ {
			if m.Survey.Valid[b] {
				sum += m.Survey.Scatter[b] * m.Survey.Scatter[b]
				n++
			}
		}
		sd[r] = math.Max(0.05, math.Sqrt(sum/max(n, 1)))
	}
	return sd
}

// residualWork is memory that moments works in, for n position bands.
type residualWork struct {
	cov, scatter           *mat.SymDense // n × n
	white, turned, product *mat.Dense    // n × n
	curves, seen           *mat.Dense    // 4 × n
}

func newResidualWork(n int) *residualWork {
	square := func() *mat.Dense { return mat.NewDense(n, n, nil) }
	return &residualWork{mat.NewSymDense(n, nil), mat.NewSymDense(n, nil), square(), square(), square(), mat.NewDense(4, n, nil), mat.NewDense(4, n, nil)}
}

// moments returns the expected scatter of a placed seating, dB, n, with gain and
// leak tail taken out, and its covariance, n × n, dB²: what is not known of it for want of
// knowing position, gain and tail. With Σ the covariance of scatter and noise, V that of
// the level about the surface (placing.Ear.Covariance), r the residual, J the slope and C
// the covariance of the position, they are
//
//	ΣV⁻¹r   and   Σ − ΣV⁻¹Σ + ΣV⁻¹·JCJ'·V⁻¹Σ.
//
// Both hold until it is called again.
func (w *residualWork) moments(m *placing.Ear, o placing.Observation, p placing.Mode, e int) ([]float64, *mat.SymDense) {
	n := m.Bands.N
	m.SetCovariance(w.cov, 1, p.Excess[e], o.Variance[e])
	factor, ok := stats.Factorize(w.cov)
	if !ok {
		return make([]float64, n), mat.NewSymDense(n, nil)
	}
	// With V = U'U, all of U'⁻¹Σ, U'⁻¹J and U'⁻¹r.
	w.scatter.CopySym(m.Scatter)
	for i, noise := range o.Variance[e] {
		if noise < survey.MissingVar {
			stats.AddSym(w.scatter, i, i, noise)
		}
	}
	w.white.Copy(w.scatter)
	factor.Whiten(w.white)
	w.turned.Copy(w.white.T())
	w.curves.Copy(p.Curves[e])
	whiten.Rows(blas64.Triangular(factor), w.curves)
	stats.Multiply(w.seen, w.curves, w.white) // J'V⁻¹Σ and r'V⁻¹Σ
	stats.Multiply(w.product, w.turned, w.white)
	for i := range n {
		var moved [3]float64 // row i of ΣV⁻¹JC
		for a := range moved {
			for b := range moved {
				moved[a] += w.seen.At(b, i) * p.Cov.At(3*e+b, 3*e+a)
			}
		}
		row := w.scatter.RawSymmetric().Data[i*n : (i+1)*n]
		floats.Sub(row[i:], w.product.RawRowView(i)[i:])
		for a, v := range moved {
			floats.AddScaled(row[i:], v, w.seen.RawRowView(a)[i:])
		}
	}
	return w.seen.RawRowView(3), w.scatter
}
