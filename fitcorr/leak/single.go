package leak

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// single is one curve against a known sealed curve: y = gain + 20 lg|H| + error
// with inverse covariance w.
type single struct {
	freq   []float64
	source Source
	y      *mat.VecDense
	w      *mat.SymDense
}

// gainOnly returns the best gain and the χ² left when h (nil for none) is
// taken off y.
func (o single) gainOnly(h []float64) (gain, chi float64) {
	n := len(o.freq)
	r, one := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for k := range n {
		if o.w.At(k, k) == 0 {
			continue
		}
		one.SetVec(k, 1)
		r.SetVec(k, o.y.AtVec(k))
		if h != nil {
			r.SetVec(k, r.AtVec(k)-h[k])
		}
	}
	var wo mat.VecDense
	wo.MulVec(o.w, one)
	gain = mat.Dot(&wo, r) / mat.Dot(&wo, one)
	r.AddScaledVec(r, -gain, one)
	return gain, mat.Inner(r, o.w, r)
}

// Grids on which the search of a leak starts.
var (
	startCorners  = []float64{6, 12, 25, 50, 100, 200, 400}
	startDampings = []float64{0.3, 1, 3, 10}
)

// leaking returns the best gain and leak, and the χ² left (without the prior).
func (o single) leaking() (gain float64, best Params, chi float64) {
	n := len(o.freq)
	h := make([]float64, n)
	levels := func(p Params) {
		for k, f := range o.freq {
			h[k] = o.source.level(p, f).level
		}
	}
	cost := func(p Params) (total, chi, gain float64) {
		levels(p)
		gain, chi = o.gainOnly(h)
		res, _ := priorTerms(p)
		return chi + res[0]*res[0] + res[1]*res[1], chi, gain
	}
	now := math.Inf(1)
	for _, c := range startCorners {
		for _, d := range startDampings {
			p := Params{c, d}
			if v, x, g := cost(p); v < now {
				now, best, chi, gain = v, p, x, g
			}
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
		var wx, xx mat.Dense
		var b, d mat.VecDense
		wx.Mul(o.w, x)
		xx.Mul(x.T(), &wx)
		a := symmetric(&xx)
		b.MulVec(wx.T(), r)
		res, rows := priorTerms(best)
		addPrior(a, &b, 1, res, rows)
		if solve(&d, a, &b) != nil {
			break
		}
		scale, before := 1.0, now
		for ; scale > 1e-2; scale /= 2 {
			p := move(best, scale*d.AtVec(1), scale*d.AtVec(2))
			if v, c, g := cost(p); v < now {
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
	var wx, xx mat.Dense
	wx.Mul(o.w, x)
	xx.Mul(x.T(), &wx)
	var inv mat.SymDense
	if invert(&inv, symmetric(&xx)) != nil {
		return 0, math.Inf(1)
	}
	var b, d mat.VecDense
	b.MulVec(wx.T(), y)
	d.MulVec(&inv, &b)
	return d.AtVec(1), math.Sqrt(inv.At(1, 1))
}
