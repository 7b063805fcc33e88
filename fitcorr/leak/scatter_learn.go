package leak

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"asworn/fitcorr/stats"
)

// weigh sets the weight of every curve: the inverse of scatter plus noise,
// with the points left out that have no finite variance.
func (j *joint) weigh(s Scatter) error {
	base := s.covariance(j.freq)
	j.scatter = s
	j.weight, j.logDet = make([]*mat.Dense, len(j.curves)), make([]float64, len(j.curves))
	j.weightSum = make([][]float64, len(j.curves))
	for i, c := range j.curves {
		var err error
		if j.weight[i], j.logDet[i], err = weightOf(base, c.VarDB); err != nil {
			return err
		}
		j.weightSum[i] = make([]float64, len(j.freq))
		for k := range j.freq {
			floats.Add(j.weightSum[i], j.weight[i].RawRowView(k))
		}
	}
	return nil
}

// scatterCurves bounds the curves that the scatter is learnt from, for speed.
const scatterCurves = 20

// leftOver is one curve's residual on its valid points, with the columns of
// its gain and leak behind it.
type leftOver struct {
	use      []int
	columns  *mat.Dense // residual first, then the columns to project out
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
		leaks, cols := j.leaks(i), 2
		if leaks {
			cols = 4
		}
		d := leftOver{use: finite(j.curves[i].VarDB)}
		if len(d.use) <= cols {
			continue
		}
		h := make([]float64, n)
		if p := j.leakOf(i); p.CornerHz > 0 {
			j.source.levels(h, p, j.freq)
		}
		d.columns = mat.NewDense(len(d.use), cols, nil)
		for a, k := range d.use {
			d.variance = append(d.variance, j.curves[i].VarDB[k])
			d.columns.Set(a, 0, grow*j.left(i, k, h[k]))
			d.columns.Set(a, 1, 1)
			if leaks {
				lv := j.source.level(j.leak[i], j.freq[k])
				d.columns.Set(a, 2, lv.own[0])
				d.columns.Set(a, 3, lv.own[1])
			}
		}
		data = append(data, d)
	}
	from := j.scatter
	if len(data) < 2 {
		return from
	}
	cov, work := mat.NewSymDense(n, nil), mat.NewDense(n, 4, nil)
	cost := func(x []float64) float64 {
		s := scatterFrom(x)
		base := s.covariance(j.freq)
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
	m := len(d.use)
	_, cols := d.columns.Dims()
	v, to := cov.SliceSym(0, m).(*mat.SymDense), work.Slice(0, m, 0, cols).(*mat.Dense)
	raw, from := v.RawSymmetric(), base.RawSymmetric()
	for a, k := range d.use {
		row := raw.Data[a*raw.Stride : a*raw.Stride+m]
		for b := a; b < m; b++ {
			row[b] = from.Data[k*from.Stride+d.use[b]]
		}
		row[a] += d.variance[a]
	}
	to.Copy(d.columns)
	u, ok := stats.Factorize(v)
	if !ok {
		return math.Inf(1)
	}
	u.Whiten(to)
	sum, y := u.LogDet(), to.RawMatrix()
	// Orthogonalise the columns one after the other (modified Gram–Schmidt),
	// the residual last.
	dot := func(p, q int) (s float64) {
		for a := range m {
			s += y.Data[a*y.Stride+p] * y.Data[a*y.Stride+q]
		}
		return s
	}
	for p := 1; p < cols; p++ {
		norm := dot(p, p)
		if norm <= 0 {
			return math.Inf(1)
		}
		sum += math.Log(norm)
		for q := range cols {
			if q != 0 && q <= p {
				continue
			}
			t := dot(p, q) / norm
			for a := range m {
				y.Data[a*y.Stride+q] -= t * y.Data[a*y.Stride+p]
			}
		}
	}
	return sum + dot(0, 0)
}
