package plan

import (
	"errors"
	"math"

	"asworn/fitcorr"
	"asworn/report"
)

// Panels returns panels, cheapest first, that keep the interval of the worn
// mean within ±want mm on the forward and the up axis, going by the largest
// scatter that an earlier study found on either of them over its models. The
// plan leaves out what no number of listeners mends: ear shape mistaken for
// position (docs/sensitivity.md).
func Panels(earlier report.Results, want float64) ([]fitcorr.Plan, error) {
	var s fitcorr.Spread
	found := false
	for _, m := range earlier.Analysis.Models {
		if m.Worn == nil || m.Worn.Listeners < 2 {
			continue
		}
		for _, axis := range []fitcorr.Axis{fitcorr.Forward, fitcorr.Up} {
			if m.Worn.Mean.Seen[axis] {
				found = true
				s.Between = max(s.Between, m.Worn.BetweenSD[axis])
				s.Within = max(s.Within, m.Worn.WithinSD[axis])
			}
		}
	}
	if !found {
		return nil, errors.New("its results hold no worn offsets of two or more listeners; a plan needs a study with a survey and a panel")
	}
	return fitcorr.DefaultPlanOptions().Plans(s, want)
}

// Outlook is what a survey of so many displacements can be expected to reach.
type Outlook struct {
	Model         string
	Displacements int        // of the earlier survey
	MM            [2]float64 // error of a recovered position, forward and up, RMS
}

// Outlooks says, for each model that an earlier study surveyed, how well the
// displacements of a survey would be recovered by one of n displacements: the
// earlier survey's own held-out error, of its worse ear, as √(earlier/n) of it.
// That law holds for scatter, not for what a smooth response model cannot
// follow, so more displacements may gain less (common practice, no source).
func Outlooks(earlier report.Results, n int) (out []Outlook) {
	for _, m := range earlier.Analysis.Models {
		o := Outlook{Model: m.Model}
		for _, s := range m.Survey {
			if s == nil || s.Displacements == 0 {
				continue
			}
			o.Displacements = s.Displacements
			for axis := range o.MM {
				o.MM[axis] = max(o.MM[axis], s.HeldOutMM[axis]*math.Sqrt(float64(s.Displacements)/float64(n)))
			}
		}
		if o.Displacements > 0 {
			out = append(out, o)
		}
	}
	return out
}
