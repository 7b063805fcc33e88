package fitcorr

import (
	"maps"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/panel"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/standout"
)

// keptResult is panel.Result as gob takes it.
type keptResult struct {
	Model   string
	Worn    panel.Worn
	Mean    [placing.HeadsetDim]float64
	MeanCov [placing.HeadsetDim][placing.HeadsetDim]float64
	Offsets []position.Offset
	Doubts  []string
}

// panelOf is panel.Fit, recalled.
func panelOf(mem Memory, surveyed []*position.Model, bare []seat.Seating, opt seat.Options, fit func() (map[string]*panel.Result, error)) (map[string]*panel.Result, error) {
	if mem == nil {
		return fit()
	}
	opt.Jobs = 0 // results do not depend on it
	of := []any{opt, bare}
	for _, m := range surveyed {
		of = append(of, *m)
	}
	kept, err := recall(mem, "panel", of, func() (out []keptResult, err error) {
		results, err := fit()
		for _, name := range slices.Sorted(maps.Keys(results)) {
			r := results[name]
			out = append(out, keptResult{name, r.Worn, r.Mean, covArray(r.MeanCov), r.Offsets, r.Doubts})
		}
		return out, err
	})
	out := map[string]*panel.Result{}
	for _, k := range kept {
		cov := mat.NewSymDense(placing.HeadsetDim, nil)
		for i := range placing.HeadsetDim {
			for j := i; j < placing.HeadsetDim; j++ {
				cov.SetSym(i, j, k.MeanCov[i][j])
			}
		}
		out[k.Model] = &panel.Result{Worn: k.Worn, Mean: k.Mean, MeanCov: cov, Offsets: k.Offsets, Doubts: k.Doubts}
	}
	return out, err
}

// keptModel is what prepared.finish and the final curves come to.
type keptModel struct {
	Analysis asJSON[ModelAnalysis]
	Frozen   FrozenModel
}

// finished is finish, recalled. All that a model was prepared from is in its seatings;
// what the models have in common comes in by the marks and by the panel.
func (p *prepared) finished(mem Memory, w *panel.Result, opt seat.Options, bare bool, standOuts []standout.StandOut, finish func() (ModelAnalysis, FrozenModel)) (ModelAnalysis, FrozenModel) {
	opt.Jobs = 0
	of := []any{p.ma.Model, opt, bare, p.all}
	for _, s := range standOuts { // what of them the final curves ask for
		if s.Flagged && slices.ContainsFunc(p.all, func(own seat.Seating) bool { return own.ID == s.ID }) {
			of = append(of, s.ID, s.Ear, s.Band)
		}
	}
	for _, sv := range p.surveyed() {
		m := sv.model
		of = append(of, m.Point, m.Mark, m.ApartMM, m.Temper, m.Notes)
		for _, s := range m.Seatings { // slips of reading are taken off these
			of = append(of, s.Read, s.ReadWorth, s.ReadApart, s.ReadApartWorth)
		}
	}
	if w != nil {
		of = append(of, w.Worn, w.Mean, covArray(w.MeanCov), w.Offsets, w.Doubts)
	}
	k, _ := recall(mem, "model", of, func() (keptModel, error) {
		m, f := finish()
		return keptModel{asJSON[ModelAnalysis]{m}, f}, nil
	})
	return k.Analysis.of, k.Frozen
}
