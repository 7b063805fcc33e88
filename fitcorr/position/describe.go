package position

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// describe completes the report of one ear's survey: what a single seating's
// position would cost in certainty, which axes show, what a step is worth in dB.
func describe(m *placing.Ear, rep *survey.Report, rows []seat.Seating, ear int) {
	e := m.Survey
	noise := make([]float64, m.Bands.N)
	for _, s := range rows {
		_, va := m.Bands.Join(s.Ears[ear], e.Valid)
		for r := range noise {
			noise[r] += va[r] / float64(len(rows))
		}
	}
	_, slope, excess := e.Surface(m.Bands, [3]float64{})
	info, err := positionInformation(m.Covariance(1, excess, noise), slope)
	if err == nil {
		wide := mat.NewDense(3, 3, nil)
		wide.Copy(info)
		for a := range 3 {
			wide.Set(a, a, wide.At(a, a)+1.0/64)
		}
		var cov mat.Dense
		if cov.Inverse(wide) == nil {
			for a := range 3 {
				rep.PosteriorSD[a] = math.Sqrt(cov.At(a, a))
			}
		}
		var eig mat.EigenSym
		plane := mat.NewSymDense(2, []float64{info.At(0, 0), info.At(0, 1), info.At(0, 1), info.At(1, 1)})
		if eig.Factorize(plane, false) {
			v := eig.Values(nil)
			rep.Condition = math.Sqrt(v[1] / math.Max(v[0], 1e-9*v[1]+1e-12))
		}
	}
	rep.AddVisibility(e)
	rep.AddSlopes(e)
}

// positionInformation is J'Σ⁻¹J of one seating at the marked position.
func positionInformation(cov *mat.SymDense, slope [3][]float64) (*mat.Dense, error) {
	n := cov.SymmetricDim()
	j := mat.NewDense(n, 3, nil)
	for a := range slope {
		for r, v := range slope[a] {
			j.Set(r, a, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return nil, stats.ErrSingular
	}
	var wj, info mat.Dense
	if err := chol.SolveTo(&wj, j); err != nil {
		return nil, err
	}
	info.Mul(j.T(), &wj)
	return &info, nil
}
