package fitcorr

import (
	"context"
	"fmt"
	"sort"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/correct"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
	"asworn/fitcorr/standout"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/verdict"
)

// Analyse estimates everything that the usable seatings of a study can say:
// blocked and drum points, all models, bare-ear references (Model "").
// Parts that the study cannot support are left out and named in Cannot. The
// second value holds what is needed to judge later fixture seatings. Results
// do not depend on opt.Jobs. The error is ctx's, or reports seatings that
// contradict the interface (two of one ID).
func Analyse(ctx context.Context, ss []seat.Seating, opt seat.Options) (Analysis, Frozen, error) {
	if err := checkSeatings(ss, opt); err != nil {
		return Analysis{}, Frozen{}, err
	}
	var a Analysis
	frozen := Frozen{Options: opt}
	names, byModel, bare := splitModels(ss)
	prepared := make([]*prepared, len(names))
	err := stats.Parallel(ctx, len(names), opt.Jobs, func(i int) {
		prepared[i] = prepare(names[i], byModel[names[i]], opt)
	})
	if err != nil {
		return Analysis{}, Frozen{}, err
	}
	var surveyed []*position.Model
	for _, p := range prepared {
		if p.model != nil {
			surveyed = append(surveyed, p.model)
		}
	}
	position.ReadMarks(surveyed, seat.ReadingOr(opt.Reading))
	worn, err := panel.Fit(ctx, surveyed, bare, opt)
	if ctx.Err() != nil {
		return Analysis{}, Frozen{}, ctx.Err()
	}
	if err != nil {
		a.Cannot = append(a.Cannot, fmt.Sprintf("worn offsets: %v", err))
	}
	a.StandOuts = standout.Find(ss, opt)
	if len(names) > 0 {
		a.Models, frozen.Models = make([]ModelAnalysis, len(names)), make([]FrozenModel, len(names))
	}
	err = stats.Parallel(ctx, len(names), opt.Jobs, func(i int) {
		p := prepared[i]
		m, fm := p.finish(worn[names[i]], opt, len(bare) > 0)
		m.Curves = correct.FinalCurves(p.all, m.Verdicts, m.Corrections, p.corrector, a.StandOuts, opt)
		a.Models[i], frozen.Models[i] = m, fm
	})
	if err != nil {
		return Analysis{}, Frozen{}, err
	}
	if len(a.Models) == 0 {
		a.Cannot = append(a.Cannot, "the study holds no headphone seating that could be used")
	}
	return a, frozen, nil
}

func checkSeatings(ss []seat.Seating, opt seat.Options) error {
	if !(opt.Confidence > 0.5 && opt.Confidence < 1) {
		return fmt.Errorf("confidence %g: must lie between 0.5 and 1", opt.Confidence)
	}
	if !(opt.ToleranceMM > 0) {
		return fmt.Errorf("tolerance %g mm: must be above 0", opt.ToleranceMM)
	}
	seen := map[string]bool{}
	for _, s := range ss {
		if seen[s.ID] {
			return fmt.Errorf("seating %s is given twice", s.ID)
		}
		seen[s.ID] = true
	}
	return nil
}

// splitModels lists models by name and parts their seatings from the bare ears.
func splitModels(ss []seat.Seating) (names []string, byModel map[string][]seat.Seating, bare []seat.Seating) {
	byModel = map[string][]seat.Seating{}
	for _, s := range ss {
		if s.Model == "" {
			if s.Point == capture.Blocked {
				bare = append(bare, s)
			}
			continue
		}
		if _, ok := byModel[s.Model]; !ok {
			names = append(names, s.Model)
		}
		byModel[s.Model] = append(byModel[s.Model], s)
	}
	sort.Strings(names)
	return names, byModel, bare
}

// prepared is one model before the panel is estimated.
type prepared struct {
	ma        ModelAnalysis
	all       []seat.Seating // both points
	blocked   []seat.Seating // those at the blocked entrance
	leaks     map[string][2]seal.Leak
	seal      seal.Seal
	model     *position.Model    // nil without a survey
	corrector *correct.Corrector // set by finish, nil without a survey or a worn mean
}

func prepare(name string, ss []seat.Seating, opt seat.Options) *prepared {
	p := &prepared{ma: ModelAnalysis{Model: name}, all: ss}
	for _, s := range ss {
		if s.Point == capture.Blocked {
			p.blocked = append(p.blocked, s)
		}
	}
	p.leaks, p.seal = seal.Judge(p.blocked, opt)
	p.ma.OpenBack = p.seal.Open
	p.ma.Sensitivity = sensitivity.Of(ss, p.leaks, opt)
	model, err := position.NewModel(name, p.blocked, p.leaks)
	if err != nil {
		p.cannot("%v", err)
		return p
	}
	if !p.seal.Told {
		p.cannot("%s", p.seal.Reason)
	}
	p.model, p.ma.Survey = model, model.Reports
	return p
}

func (p *prepared) cannot(format string, args ...any) {
	p.ma.Cannot = append(p.ma.Cannot, fmt.Sprintf(format, args...))
}

// finish adds offsets and verdicts once the panel is known; w is nil for a
// model that nobody wore.
func (p *prepared) finish(w *panel.Result, opt seat.Options, bare bool) (ModelAnalysis, FrozenModel) {
	fm := FrozenModel{Model: p.ma.Model, Open: p.seal.Open, Seals: sealCurves(p.blocked)}
	if p.model == nil {
		return p.ma, fm
	}
	p.ma.Cannot = append(p.ma.Cannot, p.model.Notes...)
	fm.Survey, fm.Scatter, fm.Total, fm.Temper = &p.model.Survey, p.model.Scatter, p.model.Total, p.model.Temper
	fm.Mark = p.model.Mark
	if w != nil {
		for i := range w.Offsets {
			w.Offsets[i].Leak = p.leaks[w.Offsets[i].ID]
		}
		wornLeaks(&w.Worn, w.Offsets)
		fm.Worn = freezeTarget(w, bare)
		p.ma.Cannot = append(p.ma.Cannot, w.Doubts...)
		p.ma.Worn = &w.Worn
	} else {
		p.cannot("a verdict: nobody wore this model, so there is no worn mean to compare with")
	}
	fixture := 0
	for i, s := range p.blocked {
		if !s.OnFixture() {
			continue
		}
		at := p.model.Places[i]
		if at.Cov == nil {
			p.cannot("seating %s: too few bands count to estimate a position", s.ID)
			continue
		}
		at.Read(s, p.model.Mark)
		p.ma.Offsets = append(p.ma.Offsets, at.Offset)
		if s.Displaced() {
			continue
		}
		fixture++
		if fm.Worn != nil {
			p.ma.Verdicts = append(p.ma.Verdicts, verdict.Judge(at, fm.Worn, p.seal.Open, opt))
		}
	}
	if fixture == 0 {
		p.cannot("a verdict: no ordinary seating on the fixture")
	}
	if w != nil {
		p.ma.Offsets = append(p.ma.Offsets, w.Offsets...)
		if w.Worn.Listeners == 1 {
			p.cannot("the spread between listeners: one listener only")
		}
	}
	p.corrector = correct.New(p.all, &p.model.Survey, p.ma.Offsets, p.ma.Worn, opt)
	p.ma.Corrections = p.corrector.Corrections(p.all)
	return p.ma, fm
}

// freezeTarget freezes a worn distribution.
func freezeTarget(w *panel.Result, bare bool) *verdict.Target {
	t := &verdict.Target{Mean: w.Mean, DF: w.Worn.Mean.DF, LossDB: w.Worn.LeakLossDB, LossSE: w.Worn.LeakLossSE, LossDF: w.Worn.LeakDF,
		Seatings: w.Worn.Seatings, Listeners: w.Worn.Listeners, Bare: bare,
		Read: w.Worn.Readings != nil, Cov: covArray(w.MeanCov)}
	for _, o := range w.Offsets {
		pl := verdict.Place{ID: o.ID}
		for e := range 2 {
			for a := range 3 {
				pl.Pos[3*e+a] = o.Ears[e].Value[a]
				for b := range 3 {
					pl.Cov[3*e+a][3*e+b] = o.Ears[e].Cov[a][b]
				}
			}
		}
		t.Worn = append(t.Worn, pl)
	}
	return t
}

func covArray(m mat.Symmetric) (out [position.HeadsetDim][position.HeadsetDim]float64) {
	for i := range position.HeadsetDim {
		for j := range position.HeadsetDim {
			out[i][j] = m.At(i, j)
		}
	}
	return out
}

// wornLeaks summarises the leaks of the worn seatings.
func wornLeaks(w *panel.Worn, offsets []position.Offset) {
	for e := range 2 {
		var who []string
		var leaks []seal.Leak
		for _, o := range offsets {
			if o.Worn() {
				who, leaks = append(who, o.Subject), append(leaks, o.Leak[e])
			}
		}
		p := seal.OfPanel(who, leaks)
		w.LeakLossDB[e], w.LeakLossSE[e], w.LeakLossSD[e], w.LeakDF[e] = p.MeanDB, p.SE, p.SD, p.DF
	}
}
