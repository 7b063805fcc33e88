package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// single is one curve against a known sealed curve: y = gain + 20 lg|H| + error
// with inverse covariance w.
type single struct {
	freq   []float64
	source Source
	starts []startLeak
	y      *mat.VecDense
	w      *mat.SymDense
	one    *mat.VecDense // 1 where a point counts, else 0
	wo     *mat.VecDense // w·one
}

// newSingle returns a single; starts are source.starts(freq).
func newSingle(freq []float64, source Source, starts []startLeak, y *mat.VecDense, w *mat.SymDense) single {
	one, wo := mat.NewVecDense(len(freq), nil), mat.NewVecDense(len(freq), nil)
	for k := range freq {
		if w.At(k, k) != 0 {
			one.SetVec(k, 1)
		}
	}
	wo.MulVec(w, one)
	return single{freq, source, starts, y, w, one, wo}
}

// gainOnly returns the best gain and the χ² left when h (nil for none) is
// taken off y.
func (o single) gainOnly(h []float64) (gain, chi float64) {
	r := mat.NewVecDense(len(o.freq), nil)
	for k := range o.freq {
		if o.one.AtVec(k) == 0 {
			continue
		}
		r.SetVec(k, o.y.AtVec(k))
		if h != nil {
			r.SetVec(k, r.AtVec(k)-h[k])
		}
	}
	gain = mat.Dot(o.wo, r) / mat.Dot(o.wo, o.one)
	r.AddScaledVec(r, -gain, o.one)
	return gain, mat.Inner(r, o.w, r)
}

// Grids on which the search of a leak starts.
var (
	startCorners  = []float64{6, 12, 25, 50, 100, 200, 400}
	startDampings = []float64{0.3, 1, 3, 10}
)

// startLeak is a point of the grid with its levels.
type startLeak struct {
	leak    Params
	levelDB []float64
}

// starts returns the grid of leaks on source s.
func (s Source) starts(freq []float64) []startLeak {
	var out []startLeak
	for _, c := range startCorners {
		for _, d := range startDampings {
			out = append(out, startLeak{Params{c, d}, s.levels(Params{c, d}, freq)})
		}
	}
	return out
}

// levels returns 20 lg|H| of leak p over freq.
func (s Source) levels(p Params, freq []float64) []float64 {
	out := make([]float64, len(freq))
	for k, f := range freq {
		out[k] = s.levelDB(p, f)
	}
	return out
}

// leaking returns the best gain and leak, and the χ² left (without the prior).
func (o single) leaking() (gain float64, best Params, chi float64) {
	n := len(o.freq)
	cost := func(p Params, h []float64) (total, chi, gain float64) {
		gain, chi = o.gainOnly(h)
		res, _ := priorTerms(p)
		return chi + res[0]*res[0] + res[1]*res[1], chi, gain
	}
	now := math.Inf(1)
	for _, s := range o.starts {
		if v, x, g := cost(s.leak, s.levelDB); v < now {
			now, best, chi, gain = v, s.leak, x, g
		}
	}
	x := mat.NewDense(n, 3, nil)
	r := mat.NewVecDense(n, nil)
	for range 12 {
		for k, f := range o.freq {
			lv := o.source.level(best, f)
			x.SetRow(k, []float64{1, lv.own[0], lv.own[1]})
			r.SetVec(k, o.y.AtVec(k)-gain-lv.level)
		}
		wx := times(o.w, x)
		var xx mat.Dense
		var b, d mat.VecDense
		xx.Mul(x.T(), wx)
		a := stats.Symmetric(&xx)
		b.MulVec(wx.T(), r)
		res, rows := priorTerms(best)
		addPrior(a, &b, 1, res, rows)
		if solve(&d, a, &b) != nil {
			break
		}
		scale, before := 1.0, now
		for ; scale > 1e-2; scale /= 2 {
			p := move(best, scale*d.AtVec(1), scale*d.AtVec(2))
			if v, c, g := cost(p, o.source.levels(p, o.freq)); v < now {
				now, best, chi, gain = v, p, c, g
				break
			}
		}
		if before-now < 1e-3 {
			break
		}
	}
	return gain, best, chi
}

// small returns the squared corner (Hz²) of a first-order leak so small that
// its loss is (10/ln 10)·q/f² dB, with its standard error: linear in q, so it
// may come out negative.
func (o single) small() (q, stderr float64) {
	n := len(o.freq)
	x := mat.NewDense(n, 2, nil)
	y := mat.NewVecDense(n, nil)
	for k, f := range o.freq {
		if o.w.At(k, k) == 0 {
			continue
		}
		x.SetRow(k, []float64{1, -10 / math.Ln10 / (f * f)})
		y.SetVec(k, o.y.AtVec(k))
	}
	wx := times(o.w, x)
	var xx mat.Dense
	xx.Mul(x.T(), wx)
	var inv mat.SymDense
	if invert(&inv, stats.Symmetric(&xx)) != nil {
		return 0, math.Inf(1)
	}
	var b, d mat.VecDense
	b.MulVec(wx.T(), y)
	d.MulVec(&inv, &b)
	return d.AtVec(1), math.Sqrt(inv.At(1, 1))
}
