package leak

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Estimate is the leak of one curve.
type Estimate struct {
	Leaking bool
	Params                // zero corner when sealed
	Cov     [2][2]float64 // of ln CornerHz and ln Damping
	GainDB  float64       // level offset against the mean of the curves
	// Evidence is the drop of χ² when the curve is allowed a leak of its own,
	// against a reference that the curve had no part in; P its tail probability.
	Evidence float64
	P        float64
	// square is the estimate of a small first-order leak's squared corner, and
	// its standard error, in Hz²: what a sealed seating may hide.
	square, squareSE float64
	Source           Source // what drives the cup; the zero value is the plain circuit
}

// ThreeDBHz returns the highest frequency in Hz at which the loss reaches
// 3.01 dB, 0 when it never does above 1 Hz.
func (e Estimate) ThreeDBHz() float64 {
	if !e.Leaking {
		return 0
	}
	if e.Source.ResonanceHz == 0 {
		return e.Params.ThreeDBHz()
	}
	over := func(f float64) bool { loss, _ := e.LossDB(f); return loss >= 10*math.Log10(2) }
	const ratio = 1.02
	for f := 1000.0; f > 1; f /= ratio {
		if over(f) {
			lo, hi := f, f*ratio
			for range 20 {
				if mid := math.Sqrt(lo * hi); over(mid) {
					lo = mid
				} else {
					hi = mid
				}
			}
			return lo
		}
	}
	return 0
}

// LossDB returns the level lost at f Hz with its standard error, in dB. A
// sealed curve's loss is the best small first-order leak, never negative.
func (e Estimate) LossDB(f float64) (loss, stderr float64) {
	if !e.Leaking {
		q := math.Max(0, e.square)
		return 10 * math.Log10(1+q/(f*f)), 10 / math.Ln10 * e.squareSE / (f*f + q)
	}
	lv := e.Source.level(e.Params, f)
	dc, dd := lv.own[0], lv.own[1]
	v := dc*dc*e.Cov[0][0] + 2*dc*dd*e.Cov[0][1] + dd*dd*e.Cov[1][1]
	return -lv.level, math.Sqrt(v)
}

// CornerSE returns the standard error of CornerHz in Hz.
func (e Estimate) CornerSE() float64 { return e.CornerHz * math.Sqrt(e.Cov[0][0]) }

// Result is the joint fit of the seatings of one ear.
type Result struct {
	FreqHz  []float64
	Sealed  []float64 // level of the sealed cup, dB, at the mean gain
	Curves  []Estimate
	Scatter Scatter
	// Source is what drives the cup, zero where the plain circuit will do.
	Source Source
	// Reference is the leak that the reference seatings have in common, zero
	// when the data do not show one.
	Reference Params
}

// falseLeak is the chance per seating of calling a sealed one leaking.
const falseLeak = 0.01

// Fit fits the seatings of one ear jointly: one sealed curve that all share,
// a gain and, where the data ask for it, a leak of each, and the scatter
// between seatings. The reference is the group of seatings in which no leak
// can be shown against the rest, so no single recording carries it. freqHz
// must rise; it should reach from about 18 Hz to about 1 kHz. At least two
// curves are needed: a leak shows only against another seating.
func Fit(freqHz []float64, curves []Curve) (*Result, error) {
	if len(curves) < 2 {
		return nil, fmt.Errorf("leak: %d seating: a leak shows only against another seating of the same headphone", len(curves))
	}
	for i, c := range curves {
		if len(c.LevelDB) != len(freqHz) || len(c.VarDB) != len(freqHz) {
			return nil, fmt.Errorf("leak: curve %d has %d levels and %d variances for %d frequencies", i, len(c.LevelDB), len(c.VarDB), len(freqHz))
		}
	}
	j := &joint{freq: freqHz, curves: curves}
	s := startScatter
	if err := j.start(s); err != nil {
		return nil, err
	}
	if err := j.settle(&s); err != nil {
		return nil, err
	}
	richer, err := j.enrich()
	if err != nil {
		return nil, err
	}
	if richer { // classes and scatter may look different now
		if err := j.settle(&s); err != nil {
			return nil, err
		}
	}
	est, err := j.judge()
	if err != nil {
		return nil, err
	}
	return j.result(est, s), nil
}

// settle fits in rounds, since classes and scatter depend on each other, and
// leaves the fit at its minimum.
func (j *joint) settle(s *Scatter) error {
	const rounds, learning = 4, 2
	for round := range rounds {
		if err := j.fit(); err != nil {
			return err
		}
		if round < learning {
			*s = j.learnScatter(*s)
			if err := j.weigh(*s); err != nil {
				return err
			}
			if err := j.fit(); err != nil {
				return err
			}
		}
		est, err := j.judge()
		if err != nil {
			return err
		}
		if !j.reclass(est) && round > 0 {
			return nil
		}
	}
	return j.fit()
}

// richerGain is the drop of the objective that a leak of the reference or a
// source of its own must bring: far above chance (χ² with two or three degrees
// of freedom), since both rest on the exact shape of the response.
const richerGain = 25

// enrich lets the reference seatings leak in common and the source be a cone,
// one after the other, and keeps what the data insist on. A reference leak
// shows because the ratio of two leaking responses levels out below both
// corners, which one leak alone never does. Without leaks there is no contrast
// to learn either from: the sealed curve takes it all up.
func (j *joint) enrich() (richer bool, err error) {
	leaking := false
	for _, p := range j.leak {
		leaking = leaking || p.CornerHz > 0
	}
	if !leaking {
		return false, nil
	}
	for range 2 {
		best, found := j.objective()-richerGain, *j
		try := func(with joint) error {
			if err := with.fit(); err != nil {
				return err
			}
			if v := with.objective(); v < best {
				best, found, richer = v, with, true
			}
			return nil
		}
		changed := richer
		if j.reference.CornerHz == 0 {
			for _, start := range []Params{{20, 2}, {80, 1}} {
				with := *j
				with.reference = start
				if err := try(with); err != nil {
					return false, err
				}
			}
		}
		if j.source.ResonanceHz == 0 {
			with := *j
			with.source = priorSource
			if err := try(with); err != nil {
				return false, err
			}
		}
		*j = found
		if richer == changed {
			break
		}
	}
	return richer, nil
}

// start aligns the curves in the upper half of the range, takes those with
// the most low end as the reference and gives every other curve a leak found
// on a grid.
func (j *joint) start(s Scatter) error {
	if err := j.weigh(s); err != nil {
		return err
	}
	n := len(j.freq)
	low, high := n/4, n/2
	mean := func(c Curve, from, to int) float64 {
		sum, w := 0.0, 0.0
		for k := from; k < to; k++ {
			if v := c.VarDB[k]; !math.IsInf(v, 0) && !math.IsNaN(v) {
				sum += c.LevelDB[k]
				w++
			}
		}
		if w == 0 {
			return math.NaN()
		}
		return sum / w
	}
	index := make([]float64, len(j.curves))
	j.gain, j.leak = make([]float64, len(j.curves)), make([]Params, len(j.curves))
	total := 0.0
	for i, c := range j.curves {
		j.gain[i] = mean(c, high, n)
		index[i] = mean(c, 0, low) - j.gain[i]
		if math.IsNaN(index[i]) {
			return fmt.Errorf("leak: curve %d has no valid level in a quarter of the range", i)
		}
		total += j.gain[i]
	}
	for i := range j.gain {
		j.gain[i] -= total / float64(len(j.gain))
	}
	order := append([]float64(nil), index...)
	sort.Sort(sort.Reverse(sort.Float64Slice(order)))
	// The second highest, lest one odd recording be the reference alone.
	const near = 1.0 // dB
	j.sealed = make([]float64, n)
	for k := range n {
		sum, w := 0.0, 0.0
		for i, c := range j.curves {
			if v := c.VarDB[k]; index[i] >= order[1]-near && !math.IsInf(v, 0) && !math.IsNaN(v) {
				sum += c.LevelDB[k] - j.gain[i]
				w++
			}
		}
		if w > 0 {
			j.sealed[k] = sum / w
		}
	}
	y := mat.NewVecDense(n, nil)
	for i, c := range j.curves {
		if index[i] >= order[1]-near {
			continue
		}
		for k := range n {
			y.SetVec(k, 0)
			if j.weight[i].At(k, k) > 0 {
				y.SetVec(k, c.LevelDB[k]-j.sealed[k])
			}
		}
		one := single{freq: j.freq, source: j.source, y: y, w: j.weight[i]}
		g, p, _ := one.leaking()
		j.gain[i], j.leak[i] = g, p
	}
	return nil
}

// judge tests every curve against a reference that it had no part in.
func (j *joint) judge() ([]Estimate, error) {
	eq, err := j.linearise()
	if err != nil {
		return nil, err
	}
	n := len(j.freq)
	globals, reference, _ := j.globals()
	chi2 := distuv.ChiSquared{K: 2}
	est := make([]Estimate, len(j.curves))
	var cov mat.SymDense
	if err := invert(&cov, eq.a); err != nil {
		return nil, err
	}
	if reference >= 0 {
		for a := range 2 {
			for b := range 2 {
				j.referenceCov[a][b] = cov.At(reference+a, reference+b)
			}
		}
	}
	ref := mat.NewDense(n, globals, nil) // the reference's derivative by the globals
	base := append([]float64(nil), j.sealed...)
	for k, f := range j.freq {
		ref.Set(k, k, 1)
		if reference >= 0 {
			lv := j.source.level(j.reference, f)
			ref.Set(k, reference, lv.own[0])
			ref.Set(k, reference+1, lv.own[1])
			base[k] += lv.level
		}
	}
	for i := range j.curves {
		var left, rest mat.SymDense
		rest.ScaleSym(-1, eq.share[i])
		rest.AddSym(&rest, eq.a)
		for k := range globals {
			rest.SetSym(k, k, rest.At(k, k)+1e-6)
		}
		if err := invert(&left, &rest); err != nil {
			continue // without this curve nothing is known: nothing to judge against
		}
		// At the minimum the shares of the right side sum to zero, so leaving
		// one out moves the globals by −left·b_i.
		var shift, moved mat.VecDense
		shift.MulVec(&left, eq.rhs[i])
		moved.MulVec(ref, &shift)
		var t, spread mat.Dense
		t.Mul(ref, &left)
		spread.Mul(&t, ref.T())
		v := symmetric(&spread)
		v.AddSym(v, j.scatter)
		w, err := weightOf(v, j.curves[i].VarDB)
		if err != nil {
			return nil, err
		}
		y := mat.NewVecDense(n, nil)
		for k := range n {
			if w.At(k, k) > 0 {
				y.SetVec(k, j.curves[i].LevelDB[k]-base[k]+moved.AtVec(k))
			}
		}
		one := single{freq: j.freq, source: j.source, y: y, w: w}
		e := &est[i]
		_, plain := one.gainOnly(nil)
		_, p, free := one.leaking()
		e.Params, e.Evidence = p, math.Max(0, plain-free)
		e.P = chi2.Survival(e.Evidence)
		e.square, e.squareSE = one.small()
		e.GainDB = j.gain[i]
		if j.leak[i].CornerHz > 0 { // covariance of the joint fit
			bl := &eq.blocks[i]
			var u, cu, full mat.Dense
			u.Mul(&bl.cross, &bl.inv)
			cu.Mul(&cov, &u)
			full.Mul(u.T(), &cu)
			full.Add(&full, &bl.inv)
			for a := range 2 {
				for b := range 2 {
					e.Cov[a][b] = full.At(1+a, 1+b)
				}
			}
		}
	}
	return est, nil
}

// reclass sets every curve's class by its evidence and reports whether any
// changed. One curve at least stays in the reference.
func (j *joint) reclass(est []Estimate) bool {
	changed, sealed, least := false, 0, 0
	for i, e := range est {
		leaks := e.P < falseLeak
		if !leaks {
			sealed++
		}
		if e.Evidence < est[least].Evidence {
			least = i
		}
		if leaks != (j.leak[i].CornerHz > 0) {
			changed = true
			j.leak[i] = Params{}
			if leaks {
				j.leak[i] = e.Params
			}
		}
	}
	if sealed == 0 {
		j.leak[least] = Params{}
	}
	return changed
}

func (j *joint) result(est []Estimate, s Scatter) *Result {
	for i := range est {
		e := &est[i]
		e.Leaking = j.leak[i].CornerHz > 0
		e.Params, e.Source = j.leak[i], j.source
		if !e.Leaking && j.reference.CornerHz > 0 {
			e.Leaking, e.Params, e.Cov = true, j.reference, j.referenceCov
		}
	}
	return &Result{FreqHz: j.freq, Sealed: j.sealed, Curves: est, Scatter: s, Reference: j.reference, Source: j.source}
}

// FallDB returns by how much the reference seatings' common level falls from
// 150 Hz to 25 Hz, each a mean over an octave, in dB.
func (r *Result) FallDB() float64 {
	around := func(hz float64) float64 {
		sum, n := 0.0, 0.0
		for k, f := range r.FreqHz {
			if math.Abs(math.Log2(f/hz)) <= 0.5 {
				sum += r.Sealed[k] - r.ReferenceLossDB(f)
				n++
			}
		}
		return sum / n
	}
	return around(150) - around(25)
}

// ReferenceLossDB returns what the reference seatings lose in common at f Hz,
// in dB; 0 when the data do not show it.
func (r *Result) ReferenceLossDB(f float64) float64 {
	return r.Source.LossDB(r.Reference, f)
}
