package leak

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"asworn/fitcorr/internal/whiten"
	"asworn/fitcorr/stats"
)

// weigh sets the weight of every curve: the inverse of scatter plus noise,
// with the points left out that have no finite variance. Copies of the fit share the weights.
func (j *joint) weigh(s Scatter) error {
	n, base := len(j.freq), s.covariance(j.freq)
	j.scatter, j.alike = s, nil
	if j.weight == nil {
		j.logDet = make([]float64, len(j.curves))
		for range j.curves {
			j.weight, j.weightSum = append(j.weight, mat.NewDense(n, n, nil)), append(j.weightSum, make([]float64, n))
		}
	}
	work := mat.NewSymDense(n, nil)
	for i, c := range j.curves {
		var err error
		if j.logDet[i], err = setWeight(j.weight[i], base, c.VarDB, work); err != nil {
			return err
		}
		clear(j.weightSum[i])
		for k := range j.freq {
			floats.Add(j.weightSum[i], j.weight[i].RawRowView(k))
		}
	}
	return nil
}

// scatterCurves bounds the curves that the scatter is learnt from, for speed.
const scatterCurves = 20

// leftOver is one curve's residual on its valid points, with what its gain and leak
// change behind it.
type leftOver struct {
	use      []int
	rows     *mat.Dense // residual first, then what is projected out, by the points
	variance []float64  // of the noise
}

// learnScatter estimates the scatter from the residuals of the current fit by
// restricted likelihood (gain and leak of each curve projected out; what
// the sealed curve absorbed is given back by the factor n/(n − 1)).
func (j *joint) learnScatter() Scatter {
	n := len(j.freq)
	var data []leftOver
	stride := 1 + (len(j.curves)-1)/scatterCurves
	grow := math.Sqrt(float64(len(j.curves)) / math.Max(1, float64(len(j.curves)-1)))
	for i := 0; i < len(j.curves); i += stride {
		leaks, rows := j.leaks(i), 2
		if leaks {
			rows = 4
		}
		d := leftOver{use: finite(j.curves[i].VarDB)}
		if len(d.use) <= rows {
			continue
		}
		h := make([]float64, n)
		if p := j.leakOf(i); p.CornerHz > 0 {
			j.source.levels(h, p, j.freq)
		}
		d.rows = mat.NewDense(rows, len(d.use), nil)
		for a, k := range d.use {
			d.variance = append(d.variance, j.curves[i].VarDB[k])
			d.rows.Set(0, a, grow*j.left(i, k, h[k]))
			d.rows.Set(1, a, 1)
			if leaks {
				lv := j.source.slopes(j.leak[i], j.freq[k])
				d.rows.Set(2, a, lv.own[0])
				d.rows.Set(3, a, lv.own[1])
			}
		}
		data = append(data, d)
	}
	from := j.scatter
	if len(data) < 2 {
		return from
	}
	base, cov, work := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil), mat.NewDense(4, n, nil)
	cost := func(x []float64) float64 {
		s := scatterFrom(x)
		s.setCovariance(base, j.freq)
		sum := s.penalty()
		for _, d := range data {
			sum += d.restricted(base, cov, work)
		}
		return sum
	}
	res, err := optimize.Minimize(optimize.Problem{Func: cost}, from.vector(),
		&optimize.Settings{FuncEvaluations: 90, Converger: &optimize.FunctionConverge{Absolute: 0.05, Iterations: 30}},
		&optimize.NelderMead{SimplexSize: 0.4})
	if res == nil || (err != nil && math.IsInf(res.F, 0)) {
		return from
	}
	return scatterFrom(res.X)
}

// restricted returns −2 times the restricted log-likelihood of the residual
// with covariance base + noise, constants left out; cov and work are scratch.
func (d leftOver) restricted(base, cov *mat.SymDense, work *mat.Dense) float64 {
	rows, m := d.rows.Dims()
	v := cov.SliceSym(0, m).(*mat.SymDense)
	raw, from := v.RawSymmetric(), base.RawSymmetric()
	for a, k := range d.use {
		row := raw.Data[a*raw.Stride+a : a*raw.Stride+m]
		if whole := from.Data[k*from.Stride+k : k*from.Stride+from.N]; len(whole) == len(row) {
			copy(row, whole) // no point behind it is left out
		} else {
			for b, l := range d.use[a:] {
				row[b] = whole[l-k]
			}
		}
		row[0] += d.variance[a]
	}
	u, ok := stats.Factorize(v)
	if !ok {
		return math.Inf(1)
	}
	white := work.Slice(0, rows, 0, m).(*mat.Dense)
	white.Copy(d.rows)
	sum := whiten.Rows(blas64.Triangular(u), white)
	// Orthogonalise the rows one after the other (modified Gram–Schmidt), the residual last.
	for p := 1; p < rows; p++ {
		y := white.RawRowView(p)
		norm := floats.Dot(y, y)
		if norm <= 0 {
			return math.Inf(1)
		}
		sum += math.Log(norm)
		for q := range rows {
			if q == 0 || q > p {
				x := white.RawRowView(q)
				floats.AddScaled(x, -floats.Dot(y, x)/norm, y)
			}
		}
	}
	left := white.RawRowView(0)
	return sum + floats.Dot(left, left)
}
