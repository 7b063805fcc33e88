package fitcorr

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// judgeDistance is the equivalence test in the forward–up plane. H₀ of
// `matches`: the true distance is at least the tolerance; H₀ of `adjust`: it is
// at most the tolerance (two one-sided tests; Schuirmann, J. Pharmacokin.
// Biopharm. 15(6), 1987). `matches` asks that the one-sided upper limit of the
// distance lies within the tolerance. The law of the distance alone would keep
// the size as well and say `matches` more often, but also where the interval is
// far wider than the tolerance and the estimate happens to fall near zero;
// nothing was shown there (the case against such tests: Berger & Hsu, Stat. Sci.
// 11(4), 1996). `adjust` compares with the noncentral χ² law of a true offset
// on the border.
func judgeDistance(off Estimate, tol, confidence float64) (Outcome, [3]float64) {
	x, y := off.Value[0], off.Value[1]
	dist := math.Hypot(x, y)
	var c [2][2]float64
	for a := range 2 {
		for b := range 2 {
			c[a][b] = off.Cov[a][b]
		}
	}
	alpha := 1 - confidence
	scale := tScale(off.DF, alpha)
	along, across := directional(c, x, y)
	along, across = along*scale, across*scale
	out := Undetermined
	switch {
	case dist+distuv.UnitNormal.Quantile(confidence)*along <= tol:
		out = Matches
	case dist > tol && 1-insideDisk(dist, tol, along, across) <= alpha:
		out = Adjust
	}
	lower := diskInvert(dist, 1-alpha/2, along, across)
	// Inverting the law upward has no answer for an estimate close to zero, and
	// a useless one a little farther out; the normal limit always exists.
	normal := dist + distuv.UnitNormal.Quantile(1-alpha/2)*along
	upper := math.Max(normal, diskInvert(dist, alpha/2, along, across))
	return out, [3]float64{dist, lower, upper}
}

// directional returns the standard deviations along the direction (x, y) and
// across it. An offset too small to have a direction gets the larger principal
// one along and the smaller across, the least favourable choice.
func directional(c [2][2]float64, x, y float64) (along, across float64) {
	mean, diff := (c[0][0]+c[1][1])/2, (c[0][0]-c[1][1])/2
	half := math.Hypot(diff, c[0][1])
	largest, smallest := mean+half, math.Max(mean-half, 1e-12)
	r2 := x*x + y*y
	v := largest
	if r2 >= largest {
		v = (x*x*c[0][0] + 2*x*y*c[0][1] + y*y*c[1][1]) / r2
		// A direction is itself uncertain by about sd/distance.
		w := largest / r2
		v += w * (largest - v)
	}
	v = math.Max(v, 1e-12)
	return math.Sqrt(v), math.Sqrt(math.Max(smallest, largest*smallest/v))
}

// tScale widens a normal standard deviation to a t law of df degrees at the
// given one-sided level.
func tScale(df, alpha float64) float64 {
	if df <= 0 {
		return 1
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(1 - alpha)
	return t / distuv.UnitNormal.Quantile(1-alpha)
}

// insideDisk returns P(|X| ≤ r) for X two-dimensional normal about a point at
// distance nu, with the given standard deviations along the line from the
// origin to that point and across it (Rice's law, Bell System Tech. J. 24,
// 1945, when they are equal), by Simpson's rule over the first coordinate.
func insideDisk(r, nu, along, across float64) float64 {
	lo, hi := math.Max(-r, nu-8*along), math.Min(r, nu+8*along)
	if r <= 0 || lo >= hi {
		return 0
	}
	// x = mid + half·sin(t) takes the edge's square root out of the integrand.
	const steps = 48
	mid, half, h := (lo+hi)/2, (hi-lo)/2, math.Pi/steps
	var sum float64
	for i := 1; i < steps; i++ {
		w := 4.0
		if i%2 == 0 {
			w = 2
		}
		t := -math.Pi/2 + float64(i)*h
		x := mid + half*math.Sin(t)
		u := (x - nu) / along
		g := math.Exp(-u*u/2) * math.Erf(math.Sqrt(math.Max(0, r*r-x*x)/2)/across)
		sum += w * g * half * math.Cos(t)
	}
	return math.Min(1, sum*h/3/(along*math.Sqrt(2*math.Pi)))
}

// diskInvert returns the nu ≥ 0 for which P(|X| ≤ r) = p; 0 when even nu = 0
// makes it smaller.
func diskInvert(r, p, along, across float64) float64 {
	if insideDisk(r, 0, along, across) <= p {
		return 0
	}
	lo, hi := 0.0, r+8*along
	for range 40 {
		mid := (lo + hi) / 2
		if insideDisk(r, mid, along, across) > p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// apart is one position less another that was estimated apart from it.
func apart(at, from Estimate) Estimate {
	d := Estimate{DF: pooledDF(at.planeVariance(), at.DF, from.planeVariance(), from.DF)}
	for a := range 3 {
		d.Value[a] = at.Value[a] - from.Value[a]
		for b := range 3 {
			d.Cov[a][b] = at.Cov[a][b] + from.Cov[a][b]
		}
	}
	return d
}

// FrozenTarget is the worn mean of a model: what a fixture seating is held against.
type FrozenTarget struct {
	Mean      [headsetDim]float64             `json:"mean"`
	Cov       [headsetDim][headsetDim]float64 `json:"cov"`
	DF        float64                         `json:"df"`
	LossDB    [2][3]float64                   `json:"loss_db"`
	LossSD    [2][3]float64                   `json:"loss_sd_db"`
	Seatings  int                             `json:"seatings"`
	Listeners int                             `json:"listeners"`
	Bare      bool                            `json:"bare"`
	Read      bool                            `json:"read"` // positions were read off heads
	Worn      []FrozenPlace                   `json:"worn,omitempty"`
}

// FrozenPlace is the estimated position of one worn seating, for the list of the most alike.
type FrozenPlace struct {
	ID  string                          `json:"id"`
	Pos [headsetDim]float64             `json:"pos"`
	Cov [headsetDim][headsetDim]float64 `json:"cov"`
}

// judge holds a fixture seating against the worn mean.
func judge(at fixturePlace, t *FrozenTarget, open bool, opt Options) Verdict {
	o := at.offset
	v := Verdict{ID: o.ID, Seating: o.Seating}
	sum := mat.NewSymDense(headsetDim, nil)
	var diff [headsetDim]float64
	for i := range headsetDim {
		diff[i] = at.pos[i] - t.Mean[i]
		for j := i; j < headsetDim; j++ {
			sum.SetSym(i, j, at.cov.At(i, j)+t.Cov[i][j])
		}
	}
	wide := mat.NewSymDense(headsetDim, nil)
	wide.AddSym(priorMean(), fixturePrior().cov)
	ears, head := estimates(diff, sum, wide)
	df := pooledDF(t.planeVariance(), t.DF, o.Headset.planeVariance(), o.Headset.DF)
	all := []*EarVerdict{&v.Ears[0], &v.Ears[1], &v.Headset}
	for i, est := range []Estimate{ears[0], ears[1], head} {
		est.DF = df
		all[i].Off = est
		all[i].Outcome, all[i].DistanceMM = judgeDistance(est, opt.ToleranceMM, opt.Confidence)
	}
	v.Outcome = v.Headset.Outcome
	for e := range 2 {
		if v.Ears[e].Outcome == Adjust {
			v.Outcome = Adjust
		}
	}
	judgeLeak(&v, o, t, open, opt)
	v.Settle = settle(v, o, t, opt)
	v.Nearest = nearest(at.pos, at.cov, t.Worn)
	return v
}

// planeVariance is the variance of the mean of both ears, forward and up.
func (t *FrozenTarget) planeVariance() (v float64) {
	for a := range 2 {
		v += (t.Cov[a][a] + t.Cov[3+a][3+a] + 2*t.Cov[a][3+a]) / 4
	}
	return v
}

// planeVariance is the variance forward and up.
func (e Estimate) planeVariance() float64 { return e.Cov[0][0] + e.Cov[1][1] }

// leakToleranceDB is the excess loss at 50 Hz that counts as a leak of its own.
const leakToleranceDB = 1.5

// judgeLeak compares the loss at 50 Hz with the worn one.
func judgeLeak(v *Verdict, o Offset, t *FrozenTarget, open bool, opt Options) {
	z := distuv.UnitNormal.Quantile((1 + opt.Confidence) / 2)
	one := distuv.UnitNormal.Quantile(opt.Confidence)
	var worst Outcome = Matches
	for e := range 2 {
		ev := &v.Ears[e]
		ev.LeakOutcome = Undetermined
		if open {
			ev.LeakOutcome = Matches
			continue
		}
		if o.Leak[e].Class == "" {
			worst = Undetermined
			continue
		}
		diff := o.Leak[e].LossDB[1] - t.LossDB[e][1]
		worn := t.LossSD[e][1] / math.Sqrt(math.Max(1, float64(t.Seatings)))
		se := math.Hypot(o.Leak[e].LossSE[1], worn)
		ev.LeakExcessDB = [3]float64{diff, diff - z*se, diff + z*se}
		switch {
		case math.Abs(diff)+one*se < leakToleranceDB:
			ev.LeakOutcome = Matches
		case math.Abs(diff)-one*se > leakToleranceDB:
			ev.LeakOutcome = Adjust
		}
		if ev.LeakOutcome == Adjust || (ev.LeakOutcome == Undetermined && worst == Matches) {
			worst = ev.LeakOutcome
		}
	}
	v.Headset.LeakOutcome = worst
	if math.Abs(v.Ears[0].LeakExcessDB[0]) > math.Abs(v.Ears[1].LeakExcessDB[0]) {
		v.Headset.LeakExcessDB = v.Ears[0].LeakExcessDB
	} else {
		v.Headset.LeakExcessDB = v.Ears[1].LeakExcessDB
	}
}

// settle says what would settle an undetermined verdict, most useful first.
func settle(v Verdict, o Offset, t *FrozenTarget, opt Options) []string {
	if v.Outcome != Undetermined {
		return nil
	}
	var out []string
	worn, seat := t.planeVariance(), o.Headset.planeVariance()
	if worn > seat {
		if !t.Read {
			out = append(out, "positions read with a ruler on listeners and fixture")
		}
		if !t.Bare {
			out = append(out, "a bare-ear reference of every listener and of the fixture")
		}
		out = append(out, "more listeners, or more models worn by the same listeners")
	} else {
		out = append(out, "a survey with more displacements, each repeated", "a recording with less noise")
	}
	if sd := math.Sqrt((worn + seat) / 2); sd < opt.ToleranceMM/4 && math.Abs(v.Headset.DistanceMM[0]-opt.ToleranceMM) < sd {
		// The data are good: no more of them will tell what lies on the border.
		out = []string{"seat it again nearer the worn mean: it lies close to the tolerance itself"}
	}
	return out
}

// nearestListed is how many worn seatings are listed.
const nearestListed = 5

// nearest lists the worn seatings most like a fixture seating: the normal
// density of the difference of their positions under both uncertainties.
func nearest(pos [headsetDim]float64, cov *mat.SymDense, worn []FrozenPlace) []Likeness {
	var out []Likeness
	logs := make([]float64, 0, len(worn))
	top := math.Inf(-1)
	for _, w := range worn {
		sum := mat.NewSymDense(headsetDim, nil)
		diff := mat.NewVecDense(headsetDim, nil)
		for i := range headsetDim {
			diff.SetVec(i, pos[i]-w.Pos[i])
			for j := i; j < headsetDim; j++ {
				sum.SetSym(i, j, cov.At(i, j)+w.Cov[i][j])
			}
			addSym(sum, i, i, 1e-6)
		}
		var chol mat.Cholesky
		var x mat.VecDense
		if !chol.Factorize(sum) || chol.SolveVecTo(&x, diff) != nil {
			continue
		}
		l := -0.5*mat.Dot(diff, &x) - 0.5*chol.LogDet()
		logs = append(logs, l)
		top = math.Max(top, l)
		out = append(out, Likeness{ID: w.ID})
	}
	var sum float64
	for i := range out {
		out[i].Share = math.Exp(logs[i] - top)
		sum += out[i].Share
	}
	for i := range out {
		out[i].Share /= sum
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].Share > out[b].Share })
	return out[:min(nearestListed, len(out))]
}
