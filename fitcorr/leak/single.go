package leak

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// single is one curve against a known sealed curve: y = gain + 20 lg|H| + error
// with inverse covariance w.
type single struct {
	freq   []float64
	source Source
	starts []startLeak
	y      []float64 // 0 where a point does not count
	w      *mat.Dense
	one    []float64 // 1 where a point counts, else 0
	wo     []float64 // w·one
	left   []float64 // work space: what is left of y
}

// newSingle returns a single; starts are source.starts(freq).
func newSingle(freq []float64, source Source, starts []startLeak, y []float64, w *mat.Dense) single {
	n := len(freq)
	o := single{freq: freq, source: source, starts: starts, y: y, w: w,
		one: make([]float64, n), wo: make([]float64, n), left: make([]float64, n)}
	for k := range o.one {
		if w.At(k, k) != 0 {
			o.one[k] = 1
		}
		floats.Add(o.wo, w.RawRowView(k))
	}
	return o
}

// gainOnly returns the best gain and the χ² left when h (nil for none) is
// taken off y.
func (o single) gainOnly(h []float64) (gain, chi float64) {
	r := o.left
	copy(r, o.y)
	for k, v := range h {
		r[k] -= v * o.one[k]
	}
	gain = floats.Dot(o.wo, r) / floats.Dot(o.wo, o.one)
	floats.AddScaled(r, -gain, o.one)
	return gain, square(o.w, r)
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
			out = append(out, startLeak{Params{c, d}, s.levels(make([]float64, len(freq)), Params{c, d}, freq)})
		}
	}
	return out
}

// levels sets to to 20 lg|H| of leak p over freq and returns it.
func (s Source) levels(to []float64, p Params, freq []float64) []float64 {
	for k, f := range freq {
		to[k] = s.levelDB(p, f)
	}
	return to
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
	// Rows: by the gain and by the leak, then the residual.
	x, wx, h, level := mat.NewDense(4, n, nil), mat.NewDense(4, n, nil), make([]float64, n), make([]float64, n)
	o.source.levels(level, best, o.freq)
	for range 12 {
		for k, f := range o.freq {
			lv := o.source.slopes(best, f)
			for u, v := range [...]float64{1, lv.own[0], lv.own[1], o.y[k] - gain - level[k]} {
				x.Set(u, k, v)
			}
		}
		stats.Multiply(wx, x, o.w)
		a, b := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
		for u := range 3 {
			for v := u; v < 3; v++ {
				a.SetSym(u, v, floats.Dot(x.RawRowView(u), wx.RawRowView(v)))
			}
			b.SetVec(u, floats.Dot(x.RawRowView(u), wx.RawRowView(3)))
		}
		var d mat.VecDense
		res, rows := priorTerms(best)
		addPrior(a, b, 1, res, rows)
		if solve(&d, a, b) != nil {
			break
		}
		scale, before := 1.0, now
		for ; scale > 1e-2; scale /= 2 {
			p := move(best, scale*d.AtVec(1), scale*d.AtVec(2))
			if v, c, g := cost(p, o.source.levels(h, p, o.freq)); v < now {
				now, best, chi, gain = v, p, c, g
				copy(level, h)
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
	x, wx := mat.NewDense(2, n, nil), mat.NewDense(2, n, nil)
	for k, f := range o.freq {
		x.Set(0, k, o.one[k])
		x.Set(1, k, -10/math.Ln10/(f*f)*o.one[k])
	}
	stats.Multiply(wx, x, o.w)
	xx, b := mat.NewSymDense(2, nil), [2]float64{}
	for u := range b {
		for v := u; v < 2; v++ {
			xx.SetSym(u, v, floats.Dot(x.RawRowView(u), wx.RawRowView(v)))
		}
		b[u] = floats.Dot(wx.RawRowView(u), o.y)
	}
	var inv mat.SymDense
	if invert(&inv, xx) != nil {
		return 0, math.Inf(1)
	}
	return inv.At(1, 0)*b[0] + inv.At(1, 1)*b[1], math.Sqrt(inv.At(1, 1))
}
