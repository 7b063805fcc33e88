package fitcorr

import (
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/capture/workers"
	"asworn/fitcorr/correct"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
	"asworn/fitcorr/verdict"
)

// prepared is one model before the panel is estimated.
type prepared struct {
	ma      ModelAnalysis
	all     []seat.Seating // both points
	blocked *surveyed
	drum    *surveyed
	mark    position.MarkError // of the drum's survey against the blocked one; set by beside
	// correctors is set by finish; empty without a survey or a worn mean.
	correctors correct.Correctors
}

func prepare(name string, ss []seat.Seating, blocked, drum *surveyed) *prepared {
	return &prepared{ma: ModelAnalysis{Model: name}, all: ss, blocked: blocked, drum: drum}
}

// believe weighs what was read on the fixture against the sound, once the marks are known.
// Marks are learned before it is known how far apart the cups of a model's seatings at both points lie, so that a seating at the
// drum leaves that of the blocked entrance, and the panel by it, as they were.
func (p *prepared) believe() {
	var points []*position.Model
	for _, sv := range p.surveyed() {
		points = append(points, sv.model)
	}
	position.CupsApart(points...)
	for _, m := range points {
		m.Believe()
	}
}

// beside adds what a model's seatings say without the panel: while that is estimated,
// which leaves workers idle.
func (p *prepared) beside(opt seat.Options, mem Memory) {
	p.blocked.judgeSeals(opt, mem)
	p.drum.judgeSeals(opt, mem)
	p.ma.OpenBack = p.blocked.Seal.Open
	p.ma.Sensitivity = p.sensitivity(opt, mem)
	p.mark = p.markBetween(opt, mem)
	if m := p.drum.model; m != nil {
		p.ma.DrumSurvey = &m.Reports
	} else if p.drum.err != nil {
		p.cannot("at the %s: %v", capture.Drum.Words(), p.drum.err)
	}
	if p.blocked.model == nil {
		p.cannot("%v", p.blocked.err)
		return
	}
	if !p.blocked.Seal.Told {
		p.cannot("%s", p.blocked.Seal.Reason)
	}
	p.ma.Survey = p.blocked.model.Reports
}

// sensitivity is sensitivity.Of, recalled; the leaks follow from the seatings at the blocked entrance.
func (p *prepared) sensitivity(opt seat.Options, mem Memory) []sensitivity.Sensitivity {
	asked := opt
	asked.Jobs, asked.Reading = 0, capture.ReadingUncertainty{}
	out, _ := recall(mem, "sensitivity", []any{asked, unread(p.all)}, func() (asJSON[[]sensitivity.Sensitivity], error) {
		return asJSON[[]sensitivity.Sensitivity]{sensitivity.Of(p.all, p.blocked.Leaks, opt)}, nil
	})
	return out.of
}

// markBetween is the error of the drum's mark by readings and, where both points were
// surveyed, by sound.
func (p *prepared) markBetween(opt seat.Options, mem Memory) position.MarkError {
	var marks [2]placing.Mark
	for i, sv := range []*surveyed{p.blocked, p.drum} {
		if sv.model != nil {
			marks[i] = sv.model.Mark
		}
	}
	read := position.MarkBetween(marks[0], marks[1], opt.MarkOr())
	if p.blocked.model == nil || p.drum.model == nil {
		return read
	}
	mark, _ := recall(mem, "mark", []any{read, p.blocked.onFixture(), p.drum.onFixture()}, func() (position.MarkError, error) {
		return read.BySound(p.blocked.model, p.drum.model), nil
	})
	return mark
}

// surveyed are the points at which the model was surveyed.
func (p *prepared) surveyed() (out []*surveyed) {
	for _, sv := range []*surveyed{p.blocked, p.drum} {
		if sv.model != nil {
			out = append(out, sv)
		}
	}
	return out
}

func (p *prepared) cannot(format string, args ...any) {
	p.ma.Cannot = append(p.ma.Cannot, fmt.Sprintf(format, args...))
}

// finish adds offsets and verdicts once the panel is known; w is nil for a
// model that nobody wore, or that has no survey at the blocked entrance.
func (p *prepared) finish(w *panel.Result, opt seat.Options, bare bool) (ModelAnalysis, FrozenModel) {
	fm := FrozenModel{Model: p.ma.Model, Open: p.blocked.Seal.Open, Blocked: p.blocked.freeze(), Drum: p.drum.freeze(), Mark: p.mark}
	if p.blocked.model == nil && p.drum.model == nil {
		return p.ma, fm
	}
	for _, sv := range p.surveyed() {
		p.ma.Cannot = append(p.ma.Cannot, sv.model.Notes...)
	}
	if w != nil {
		for i := range w.Offsets {
			w.Offsets[i].Leak = p.blocked.Leaks[w.Offsets[i].ID]
		}
		wornLeaks(&w.Worn, w.Offsets)
		fm.Worn = freezeTarget(w, bare)
		fm.Worn.Ruler = verdict.NewRuler(p.blocked.seatings, opt)
		p.ma.Cannot = append(p.ma.Cannot, w.Doubts...)
		p.ma.Worn = &w.Worn
	} else {
		p.cannot("a verdict: nobody wore this model, so there is no worn mean to compare with")
	}
	fixture := p.place(p.blocked, &fm, nil, opt)
	if p.blocked.model != nil && p.drum.model != nil {
		if fm.Mark.Read || fm.Mark.Sound {
			p.ma.Mark = &fm.Mark
		}
	}
	apart := p.place(p.drum, &fm, p.blocked.partners(), opt)
	if fixture+apart == 0 {
		p.cannot("a verdict: no ordinary seating on the fixture")
	}
	if w != nil {
		p.ma.Offsets = append(p.ma.Offsets, w.Offsets...)
		if w.Worn.Listeners == 1 {
			p.cannot("the spread between listeners: one listener only")
		}
	}
	p.correctors = correct.Correctors{}
	var made [2]*correct.Corrector
	points := [2]*surveyed{p.blocked, p.drum}
	_ = workers.All(context.Background(), len(points), opt.Jobs, func(i int) { // ends with its work alone
		if sv := points[i]; sv.model != nil && (sv == p.blocked || apart > 0) {
			made[i] = correct.New(p.all, sv.point, &sv.model.Survey, p.ma.Offsets, p.ma.Worn, opt)
		}
	})
	for i, sv := range points {
		if made[i] != nil {
			p.correctors[sv.point] = made[i]
		}
	}
	p.ma.Corrections = p.correctors.Corrections(p.all, opt.Jobs)
	return p.ma, fm
}

// place adds offsets and verdicts of the fixture's seatings at one point, but
// for ordinary ones whose numbers are placed already, and returns how many
// ordinary ones it added.
func (p *prepared) place(sv *surveyed, fm *FrozenModel, placed map[int]bool, opt seat.Options) (ordinary int) {
	if sv.model == nil {
		return 0
	}
	sv.model.PlaceRows()
	for i, s := range sv.seatings {
		if !s.OnFixture() || s.OrdinaryOnFixture() && placed[s.Number] {
			continue
		}
		at := sv.model.Placed[i]
		if at.Cov == nil {
			p.cannot("seating %s: too few bands count to estimate a position", s.ID)
			continue
		}
		at.Sealed(sv.Leaks[s.ID])
		fm.refer(&at, s)
		p.ma.Offsets = append(p.ma.Offsets, at.Offset)
		if s.Displaced() {
			continue
		}
		ordinary++
		if fm.Worn != nil {
			p.ma.Verdicts = append(p.ma.Verdicts, verdict.Judge(s, at, fm.Worn, fm.Open, opt))
		}
	}
	return ordinary
}

// freezeTarget freezes a worn distribution.
func freezeTarget(w *panel.Result, bare bool) *verdict.Target {
	t := &verdict.Target{Mean: w.Mean, DF: w.Worn.Mean.DF, LossDB: w.Worn.LeakLossDB, LossSE: w.Worn.LeakLossSE, LossDF: w.Worn.LeakDF,
		Seatings: w.Worn.Seatings, Listeners: w.Worn.Listeners, Bare: bare, Displaced: slices.Contains(w.Worn.Separation, panel.ByDisplacedListeners),
		Read: w.Worn.Readings != nil, Cov: covArray(w.MeanCov)}
	for _, o := range w.Offsets {
		pl := verdict.WornSeating{ID: o.ID}
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

func covArray(m mat.Symmetric) (out [placing.HeadsetDim][placing.HeadsetDim]float64) {
	for i := range placing.HeadsetDim {
		for j := range placing.HeadsetDim {
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
