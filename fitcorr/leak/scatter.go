package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// Scatter is how the low end of seatings differs for reasons other than gain
// and leak: the microphone, the cup and the ear sit a little differently each
// time. Its standard deviation is √(Floor² + (Rise·(f/1 kHz)^Power)²) dB, since
// wave effects in a cup grow with frequency, and a share Smooth of it is
// correlated over frequency with the given width.
type Scatter struct {
	Floor  float64 // dB
	Rise   float64 // dB at 1 kHz
	Power  float64
	Smooth float64 // 0 to 1
	Width  float64 // octaves
}

// startScatter is where the estimate starts (orders of magnitude only).
var startScatter = Scatter{Floor: 0.15, Rise: 0.5, Power: 1, Smooth: 0.7, Width: 0.7}

// covariance returns the covariance in dB² over freq (Hz).
func (s Scatter) covariance(freq []float64) *mat.SymDense {
	n := len(freq)
	sd, oct := make([]float64, n), make([]float64, n)
	for k, f := range freq {
		sd[k] = math.Hypot(s.Floor, s.Rise*math.Pow(f/1000, s.Power))
		oct[k] = math.Log2(f) / s.Width
	}
	c := mat.NewSymDense(n, nil)
	for k := range n {
		c.SetSym(k, k, sd[k]*sd[k])
		for l := k + 1; l < n; l++ {
			d := oct[l] - oct[k]
			c.SetSym(k, l, sd[k]*sd[l]*s.Smooth*math.Exp(-d*d/2))
		}
	}
	return c
}

// vector and scatterFrom map to unbounded values and back.
func (s Scatter) vector() []float64 {
	return []float64{math.Log(s.Floor), math.Log(s.Rise), math.Log(s.Power), math.Log(s.Smooth / (1 - s.Smooth)), math.Log(s.Width)}
}

func scatterFrom(x []float64) Scatter {
	return Scatter{math.Exp(x[0]), math.Exp(x[1]), math.Exp(x[2]), 1 / (1 + math.Exp(-x[3])), math.Exp(x[4])}
}

// penalty keeps the scatter within what it can be when the residuals do not
// say: normal priors on the vector, wide.
func (s Scatter) penalty() float64 {
	x, m := s.vector(), startScatter.vector()
	sd := [...]float64{1.5, 1.5, 0.4, 1.5, 0.4}
	sum := 0.0
	for k := range x {
		d := (x[k] - m[k]) / sd[k]
		sum += d * d
	}
	return sum
}

// weigh sets the weight of every curve: the inverse of scatter plus noise,
// with the points left out that have no finite variance.
func (j *joint) weigh(s Scatter) error {
	base := s.covariance(j.freq)
	j.scatter = base
	j.weight = make([]*mat.SymDense, len(j.curves))
	for i, c := range j.curves {
		w, err := weightOf(base, c.VarDB)
		if err != nil {
			return err
		}
		j.weight[i] = w
	}
	return nil
}

// weightOf inverts base + diag(variance) over the points of finite variance;
// rows and columns of the others are zero.
func weightOf(base mat.Symmetric, variance []float64) (*mat.SymDense, error) {
	use := finite(variance)
	n := base.SymmetricDim()
	out := mat.NewSymDense(n, nil)
	if len(use) == 0 {
		return out, nil
	}
	sub := mat.NewSymDense(len(use), nil)
	for a, k := range use {
		for b, l := range use[a:] {
			sub.SetSym(a, a+b, base.At(k, l))
		}
		sub.SetSym(a, a, sub.At(a, a)+variance[k])
	}
	var inv mat.SymDense
	if err := invert(&inv, sub); err != nil {
		return nil, err
	}
	for a, k := range use {
		for b, l := range use[a:] {
			out.SetSym(k, l, inv.At(a, a+b))
		}
	}
	return out, nil
}

func finite(v []float64) []int {
	var use []int
	for k, x := range v {
		if !math.IsInf(x, 0) && !math.IsNaN(x) {
			use = append(use, k)
		}
	}
	return use
}

// scatterCurves bounds the curves that the scatter is learnt from, for speed.
const scatterCurves = 20

// learnScatter estimates the scatter from the residuals of the current fit by
// restricted likelihood (gain and leak of each curve projected out; the share
// that the sealed curve absorbed is given back by the factor n/(n − 1)).
func (j *joint) learnScatter(from Scatter) Scatter {
	n := len(j.freq)
	type datum struct {
		r    *mat.VecDense
		x    *mat.Dense
		vari []float64
	}
	var data []datum
	stride := 1 + (len(j.curves)-1)/scatterCurves
	grow := math.Sqrt(float64(len(j.curves)) / math.Max(1, float64(len(j.curves)-1)))
	h := make([]float64, n)
	for i := 0; i < len(j.curves); i += stride {
		use := finite(j.curves[i].VarDB)
		cols := 1
		if j.leak[i].CornerHz > 0 {
			cols = 3
		}
		if len(use) <= cols+1 {
			continue
		}
		full := mat.NewVecDense(n, nil)
		j.residual(i, full, h)
		d := datum{r: mat.NewVecDense(len(use), nil), x: mat.NewDense(len(use), cols, nil), vari: make([]float64, len(use))}
		for a, k := range use {
			d.r.SetVec(a, grow*full.AtVec(k))
			d.vari[a] = j.curves[i].VarDB[k]
			d.x.Set(a, 0, 1)
			if cols == 3 {
				lv := j.source.level(j.leak[i], j.freq[k])
				d.x.Set(a, 1, lv.own[0])
				d.x.Set(a, 2, lv.own[1])
			}
		}
		data = append(data, d)
	}
	cost := func(x []float64) float64 {
		s := scatterFrom(x)
		base := s.covariance(j.freq)
		sum := s.penalty()
		for i := range data {
			d := &data[i]
			use := finite(j.curves[i*stride].VarDB)
			v := mat.NewSymDense(len(use), nil)
			for a, k := range use {
				for b, l := range use[a:] {
					v.SetSym(a, a+b, base.At(k, l))
				}
				v.SetSym(a, a, v.At(a, a)+d.vari[a])
			}
			sum += restricted(v, d.r, d.x)
		}
		return sum
	}
	if len(data) < 2 {
		return from
	}
	res, err := optimize.Minimize(optimize.Problem{Func: cost}, from.vector(),
		&optimize.Settings{FuncEvaluations: 90, Converger: &optimize.FunctionConverge{Absolute: 0.05, Iterations: 30}},
		&optimize.NelderMead{SimplexSize: 0.4})
	if res == nil || (err != nil && math.IsInf(res.F, 0)) {
		return from
	}
	return scatterFrom(res.X)
}

// restricted returns −2 times the restricted log-likelihood of residual r with
// covariance v and the columns of x projected out, constants left out.
func restricted(v *mat.SymDense, r *mat.VecDense, x *mat.Dense) float64 {
	var cv mat.Cholesky
	if !cv.Factorize(v) {
		return math.Inf(1)
	}
	var vx mat.Dense
	var vr mat.VecDense
	if cv.SolveTo(&vx, x) != nil || cv.SolveVecTo(&vr, r) != nil {
		return math.Inf(1)
	}
	var xx mat.Dense
	xx.Mul(x.T(), &vx)
	var cx mat.Cholesky
	if !cx.Factorize(symmetric(&xx)) {
		return math.Inf(1)
	}
	var xr, b mat.VecDense
	xr.MulVec(vx.T(), r)
	if cx.SolveVecTo(&b, &xr) != nil {
		return math.Inf(1)
	}
	return cv.LogDet() + cx.LogDet() + mat.Dot(r, &vr) - mat.Dot(&xr, &b)
}
