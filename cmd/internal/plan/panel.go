package plan

import (
	"errors"

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
