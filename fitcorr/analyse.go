package fitcorr

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sort"

	"asworn/capture"
	"asworn/capture/workers"
	"asworn/fitcorr/correct"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/standout"
)

// Analyse estimates everything that the usable seatings of a study can say:
// both points, all models, bare-ear references (Model "").
// Parts that the study cannot support are left out and named in Cannot. The
// second value holds what is needed to judge later fixture seatings. Results
// do not depend on opt.Jobs. The error is ctx's, or reports seatings that
// contradict the interface (two of one ID).
func Analyse(ctx context.Context, ss []seat.Seating, opt seat.Options) (Analysis, Frozen, error) {
	return AnalyseWith(ctx, ss, opt, nil)
}

// AnalyseWith is Analyse with what earlier ones left in mem, which may be nil and is
// called by several goroutines. Results do not depend on it. Everything else is as of
// Analyse.
func AnalyseWith(ctx context.Context, ss []seat.Seating, opt seat.Options, mem Memory) (Analysis, Frozen, error) {
	if err := checkSeatings(ss, opt); err != nil {
		return Analysis{}, Frozen{}, err
	}
	var a Analysis
	frozen := Frozen{Options: opt}
	for _, s := range ss {
		if m, bad := wired(s); bad {
			a.Misfits = append(a.Misfits, m)
		}
	}
	ss = without(ss, a.Misfits)
	names, byModel, bare := splitModels(ss)
	prepared, err := prepareAll(ctx, names, byModel, opt, mem)
	if err != nil {
		return Analysis{}, Frozen{}, err
	}
	refs := references(prepared)
	for i, p := range prepared {
		if bad := p.misfits(refs); len(bad) > 0 {
			a.Misfits = append(a.Misfits, bad...)
			ss = without(ss, bad)
			rest := without(byModel[names[i]], bad)
			again, err := prepareAll(ctx, names[i:i+1], map[string][]seat.Seating{names[i]: rest}, opt, mem)
			if err != nil {
				return Analysis{}, Frozen{}, err
			}
			prepared[i] = again[0]
		}
	}
	var surveyed, atDrum []*position.Model
	for _, p := range prepared {
		if p.blocked.model != nil {
			surveyed = append(surveyed, p.blocked.model)
		}
		if p.drum.model != nil {
			atDrum = append(atDrum, p.drum.model)
		}
	}
	opt.Reading = position.ReadMarks(slices.Concat(surveyed, atDrum), seat.ReadingOr(opt.Reading))
	frozen.Options.Reading = opt.Reading
	for _, p := range prepared {
		p.believe()
	}
	var toWear []*position.Model
	for _, m := range surveyed {
		toWear = append(toWear, m.ForPanel())
	}
	var worn map[string]*panel.Result
	var unworn error
	err = workers.All(ctx, 1+len(prepared), opt.Jobs, func(i int) {
		if i > 0 {
			prepared[i-1].beside(opt, mem)
			return
		}
		worn, unworn = panelOf(mem, toWear, bare, opt, func() (map[string]*panel.Result, error) { return panel.Fit(ctx, toWear, bare, opt) })
	})
	if err = cmp.Or(err, ctx.Err()); err != nil {
		return Analysis{}, Frozen{}, err
	}
	if unworn != nil {
		a.Cannot = append(a.Cannot, fmt.Sprintf("worn offsets: %v", unworn))
	}
	a.StandOuts = standout.Find(ss, opt)
	if len(names) > 0 {
		a.Models, frozen.Models = make([]ModelAnalysis, len(names)), make([]FrozenModel, len(names))
	}
	err = workers.All(ctx, len(names), opt.Jobs, func(i int) {
		p := prepared[i]
		w := worn[names[i]]
		a.Models[i], frozen.Models[i] = p.finished(mem, w, opt, len(bare) > 0, a.StandOuts, func() (ModelAnalysis, FrozenModel) {
			m, fm := p.finish(w, opt, len(bare) > 0)
			m.Curves = correct.FinalCurves(p.all, m.Verdicts, m.Corrections, p.correctors, a.StandOuts, opt)
			p.correctors = nil // large, and done with
			return m, fm
		})
	})
	if err != nil {
		return Analysis{}, Frozen{}, err
	}
	if len(a.Models) == 0 {
		a.Cannot = append(a.Cannot, "the study holds no headphone seating that could be used")
	}
	return a, frozen, nil
}

// prepareAll surveys every model at both points and prepares it for the panel, in the order
// of names. The error is ctx's.
func prepareAll(ctx context.Context, names []string, byModel map[string][]seat.Seating, opt seat.Options, mem Memory) ([]*prepared, error) {
	var blocked, drum []*surveyed
	for _, name := range names {
		blocked, drum = append(blocked, newSurveyed(byModel[name], capture.Blocked)), append(drum, newSurveyed(byModel[name], capture.Drum))
	}
	models, all := len(names), slices.Concat(blocked, drum)
	err := workers.All(ctx, len(all)+models, opt.Jobs, func(i int) {
		if i < len(all) {
			all[i].learn(names[i%models], mem)
		} else { // while the last surveys end; those at the blocked entrance beside the panel
			drum[i-len(all)].judgeSeals(opt, mem)
		}
	})
	if err != nil {
		return nil, err
	}
	out := make([]*prepared, models)
	for i, name := range names {
		out[i] = prepare(name, byModel[name], blocked[i], drum[i])
	}
	return out, nil
}

// checkSeatings reports limits outside their range and two seatings of one id.
func checkSeatings(ss []seat.Seating, opt seat.Options) error {
	if err := opt.Limits.Check(); err != nil {
		return err
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
