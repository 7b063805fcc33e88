package panel

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// readPanel is the panel of two models and bare ears whose readings weigh unlike.
func readPanel(t *testing.T) *panel {
	t.Helper()
	plan := toy.Small(5)
	plan.Models, plan.Listeners, plan.Seatings, plan.Bare = 2, 4, 2, true
	ss, truth := plan.Study()
	opt := seat.DefaultOptions()
	opt.Reading = capture.ReadingUncertainty{OneMM: 0.5, LandmarkMM: 0.3, FixtureLandmarkMM: 0.3}
	ss = toy.Read(ss, truth, 5, 0.5, 0.3)
	var bare []seat.Seating
	by := map[string][]seat.Seating{}
	for i, s := range ss {
		switch {
		case s.Model == "":
			bare = append(bare, s)
			continue
		case s.Worn() && s.Number == 1:
			s.ReadWorth = 1 + float64(i%3)
		case s.Worn() && s.Subject == "L02":
			s.Read = nil
		}
		by[s.Model] = append(by[s.Model], s)
	}
	var models []*position.Model
	for _, name := range []string{"Model A", "Model B"} {
		learned, err := position.Learn(name, capture.Blocked, by[name])
		if err != nil {
			t.Fatal(err)
		}
		models = append(models, learned.Place(capture.Blocked, by[name]))
	}
	position.ReadMarks(models, opt.Reading)
	return newPanel(models, bare, opt.Reading)
}

// said is what a seating says of its block, precision and right-hand side, with levels and reading taken together.
func (p *panel) said(w *wornSeating) (precision *mat.Dense, rhs *mat.VecDense) {
	const dim = placing.HeadsetDim
	n2, rows := 2*p.Bands.N, 2*p.Bands.N+placing.ReadDim
	of, slope, z := mat.NewDense(rows, p.Block(), nil), mat.NewDense(rows, dim, nil), mat.NewVecDense(rows, nil)
	cov := mat.NewDense(rows, rows, nil)
	for e := range 2 {
		cov.Slice(e*n2/2, (e+1)*n2/2, e*n2/2, (e+1)*n2/2).(*mat.Dense).Copy(p.models[w.model].innerCovariance(w, e))
	}
	for r := range n2 {
		of.Set(r, r, 1)
		z.SetVec(r, w.z.AtVec(r))
	}
	stats.RowsOfDense(slope, 0, n2).Copy(w.kind.slope)
	of.Slice(0, n2, n2, n2+dim).(*mat.Dense).Copy(w.kind.slope)
	if w.read != nil {
		stats.RowsOfDense(slope, n2, placing.ReadDim).Copy(middle)
		stats.RowsOfDense(of, n2, placing.ReadDim).Copy(p.ruled())
	}
	for a := range placing.ReadDim {
		cov.Set(n2+a, n2+a, 1)
		if w.read != nil {
			z.SetVec(n2+a, w.read[a])
			cov.Set(n2+a, n2+a, p.readingVariance(w))
		}
	}
	var half, own mat.Dense
	half.Mul(slope, p.models[w.model].within)
	own.Mul(&half, slope.T())
	cov.Add(cov, &own)
	if _, ok := stats.Invert(cov); !ok {
		panic("no covariance")
	}
	var back mat.Dense
	back.Mul(of.T(), cov)
	precision, rhs = new(mat.Dense), new(mat.VecDense)
	precision.Mul(&back, of)
	rhs.MulVec(&back, z)
	return precision, rhs
}

// What listeners of one group share, with what readings add, is what each seating's levels and
// reading say when taken together, and the posterior is that of all of it.
func TestGroups(t *testing.T) {
	if testing.Short() {
		t.Skip("surveys of two models")
	}
	p := readPanel(t)
	s := p.priorCovariances()
	for _, m := range p.models {
		for e := range 2 {
			m.scatter[e] = m.ears[e].Scatter
		}
		m.within = placing.HeadsetCov(priorWithin, priorWithinOwn)
		m.meanVariance = [placing.ReadDim]float64{4, 4}
	}
	p.straighten()
	if !p.lineariseAll() {
		t.Fatal("singular")
	}
	fit, err := p.expect(t.Context(), s, 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(fit.groups) != 1 {
		t.Errorf("%d groups of listeners who wore everything alike", len(fit.groups))
	}
	others := mat.NewDense(p.Dim(), placing.HeadsetDim*(2*p.Models+1)+placing.ReadDim, nil)
	for m := range p.models {
		p.FillPosition(others, m, placing.HeadsetDim*m, stats.CholeskyRoot(s.Between[m]))
	}
	p.FillConfounded(others, s.Confounded, 1, placing.HeadsetDim*p.Models)
	p.FillLandmark(others, placing.HeadsetDim*(2*p.Models+1), p.reading.LandmarkMM)
	prior := s.Ears(p.Layout, [2]float64{1, 1})
	stats.AddOuter(prior, 1, others)
	near := func(what string, got, want mat.Vector) {
		var off mat.VecDense
		off.SubVec(got, want)
		if d := mat.Norm(&off, math.Inf(1)); d > 1e-7*mat.Norm(want, math.Inf(1)) {
			t.Errorf("%s is off by %g of %g", what, d, mat.Norm(want, math.Inf(1)))
		}
	}
	v := mat.NewVecDense(p.Dim(), nil)
	for i := range p.Dim() {
		v.SetVec(i, math.Sin(float64(3*i)))
	}
	for li, l := range p.listeners {
		lf := &fit.per[li]
		precision, rhs := mat.NewDense(p.Dim(), p.Dim(), nil), mat.NewVecDense(p.Dim(), nil)
		add := func(from int, more *mat.Dense, right *mat.VecDense) {
			to := from + right.Len()
			part, side := precision.Slice(from, to, from, to).(*mat.Dense), rhs.SliceVec(from, to).(*mat.VecDense)
			part.Add(part, more)
			side.AddVec(side, right)
		}
		for i := range l.worn {
			more, right := p.said(&l.worn[i])
			add(p.Start(l.worn[i].model), more, right)
		}
		for i := range l.bare {
			for e, inner := range l.bare[i].inner {
				var right mat.VecDense
				right.MulVec(inner, mat.NewVecDense(p.Bands.N, l.bare[i].level[e]))
				add(p.Channel(e, p.Models+l.bare[i].place), inner, &right)
			}
		}
		var times, back, want mat.VecDense
		times.MulVec(precision, v)
		near("precision", lf.precision(v), &times)
		near("right-hand side", lf.rhs, rhs)
		// V = Λ − ΛPV
		got := lf.given(v)
		times.MulVec(precision, got)
		times.SubVec(v, &times)
		want.MulVec(prior, &times)
		near("covariance given θ", got, &want)
		// Of one function of u, the up axis of the right cup: r'(V + (I − VP)C(I − PV))r.
		const axis = 4
		r := mat.NewVecDense(p.Dim(), nil)
		r.SetVec(p.Position(1)+axis, 1)
		r.SetVec(p.Confounded(1)+axis, -1)
		given := lf.given(r)
		times.MulVec(precision, given)
		times.SubVec(r, &times)
		back.MulVec(fit.thetaRoot.T(), &times)
		if got, want := lf.blocks[1].cov.At(axis, axis), mat.Dot(r, given)+mat.Dot(&back, &back); math.Abs(got-want) > 1e-7*want {
			t.Errorf("variance of a listener's mean position %g mm², want %g", got, want)
		}
	}
}
