package plan

import (
	"errors"
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr"
	"asworn/fitcorr/sensitivity"
	"asworn/report"
)

// Panels returns panels, cheapest first, that keep the interval of the worn
// mean within ±want mm on the forward and the up axis, going by the largest
// scatter that an earlier study found on either of them over its models. The
// plan leaves out what no number of listeners mends: ear shape mistaken for
// position (docs/sensitivity.md).
func Panels(earlier report.Results, want float64) ([]sensitivity.Plan, error) {
	var s sensitivity.Spread
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
	return sensitivity.DefaultPlanOptions().Plans(s, want)
}

// LevelPanels returns panels, cheapest first, that keep the interval of the
// worn level, and with it that of the bias fixture − worn, within ±want dB in a
// typical third octave from 50 Hz to 10 kHz, going by the largest scatter of
// levels that an earlier study found over its models and ears: the RMS over
// bands of the standard deviations between listeners and within a listener.
// The fixture's own scatter is left out: its seatings are cheap.
func LevelPanels(earlier report.Results, want float64) ([]sensitivity.Plan, error) {
	var s sensitivity.Spread
	for _, f := range panelled(earlier) {
		s.Between = max(s.Between, rootMeanSquare(f.Between, f.PanelValid))
		s.Within = max(s.Within, rootMeanSquare(f.Within, f.PanelValid))
	}
	if s == (sensitivity.Spread{}) {
		return nil, errors.New("its results hold no levels of two or more listeners with repeated seatings; a plan in dB needs a study with a panel")
	}
	return sensitivity.DefaultPlanOptions().Plans(s, want)
}

// panelled lists the fit sensitivities at the blocked entrance that rest on a
// panel with repeated seatings.
func panelled(earlier report.Results) (out []fitcorr.Sensitivity) {
	for _, m := range earlier.Analysis.Models {
		for _, f := range m.Sensitivity {
			if f.Point == capture.Blocked && f.Between != nil && f.Within != nil {
				out = append(out, f)
			}
		}
	}
	return out
}

// rootMeanSquare is over the valid third octaves from 50 Hz to 10 kHz.
func rootMeanSquare(c []fitcorr.Component, valid []bool) float64 {
	sum, n := 0.0, 0.0
	for b, third := range band.AllThirds() {
		if valid[b] && third.Mid > 49 && third.Mid < 10100 {
			sum += c[b].SD * c[b].SD
			n++
		}
	}
	return math.Sqrt(sum / max(n, 1))
}

// FigureFactor says by which factor the interval of the summary figure of fit
// sensitivity would reach above and below it with so many listeners, going by
// the least certain model and ear of an earlier study; 0 when that cannot tell.
func FigureFactor(earlier report.Results, listeners int) (factor float64) {
	for _, f := range panelled(earlier) {
		factor = max(factor, f.SummaryFactor(listeners, sensitivity.DefaultPlanOptions().Confidence))
	}
	return factor
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
