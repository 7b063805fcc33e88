package tabulate

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"asworn/fitcorr"
	"asworn/fitcorr/panel"
	"asworn/report"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// modelTable sums up each model: where it is worn, how far that scatters, and
// how well its survey works.
func modelTable(r *judged.Study) table.Table {
	t := table.Table{
		Name: "models", Title: "Models",
		Note: "From the fixture's marked position, with the " + text.Percent(r.Options.Confidence) +
			" interval. Sample mean: of the seatings that this panel wore; verdicts and corrections go by it. " +
			"Population mean: of the people that the panel was drawn from. SD: standard deviation between " +
			"listeners and within a listener; survey error: of a position left out of the survey; sensitivity to position: RMS " +
			"level change per mm or degree, 200 Hz to 16 kHz." + separationNote(r) + readingNote(r),
		Columns: []table.Column{
			modelColumn,
			{Head: "Axis", Key: "axis", Repeat: true},
			{Head: "Sample\nmean", Key: "sample_mean", Kind: table.Interval},
			{Head: "Population\nmean", Key: "population_mean", Kind: table.Interval},
			{Head: "Between\nSD", Key: "between_sd", Kind: table.Number},
			{Head: "Within\nSD", Key: "within_sd", Kind: table.Number},
			{Head: "Survey\nerror", Key: "survey_error", Kind: table.Number},
			{Head: "Left\nsensitivity\nto position\ndB/mm, dB/°", Key: "left_db_per_unit", Kind: table.Number},
			{Head: "Right\nsensitivity\nto position\ndB/mm, dB/°", Key: "right_db_per_unit", Kind: table.Number},
		},
	}
	names := [3]string{"forward, mm", "up, mm", "rotation, deg"}
	for _, m := range r.Analysis.Models {
		if m.Worn == nil && m.Survey[0] == nil && m.Survey[1] == nil {
			continue
		}
		for _, a := range fitcorr.Axes {
			row := []table.Cell{table.Word(m.Model), table.Word(names[a])}
			if w := m.Worn; w != nil {
				between, within := table.Value(w.BetweenSD[a], 1), table.Value(w.WithinSD[a], 1)
				if !w.Mean.Seen[a] { // then these are assumptions too
					between, within = table.None(), table.None()
				}
				row = append(row, axisCell(w.Mean, a, r.Options.Confidence), axisCell(w.People, a, r.Options.Confidence), between, within)
			} else {
				row = append(row, table.None(), table.None(), table.None(), table.None())
			}
			row = append(row, surveyError(m, a))
			for _, s := range m.Survey {
				if s == nil {
					row = append(row, table.None())
					continue
				}
				row = append(row, table.Value(s.PerUnitDB[a], 2))
			}
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// surveyError is the larger of the two ears' held-out errors on an axis.
func surveyError(m fitcorr.ModelAnalysis, a fitcorr.Axis) table.Cell {
	worst := math.Inf(-1)
	for _, s := range m.Survey {
		if s != nil && s.Visible[a] {
			worst = max(worst, s.HeldOutMM[a])
		}
	}
	if math.IsInf(worst, -1) {
		return table.None()
	}
	return table.Value(worst, 1)
}

// separationNote says what told ear shape from position: once where it is the
// same for all models, else model by model; empty without a panel.
func separationNote(r *judged.Study) string {
	var models, by []string
	for _, m := range r.Analysis.Models {
		if m.Worn != nil && len(m.Worn.Separation) > 0 {
			models, by = append(models, m.Model), append(by, separationWords(m.Worn.Separation))
		}
	}
	if len(by) == 0 {
		return ""
	}
	if len(slices.Compact(slices.Clone(by))) == 1 {
		return " What told ear shape from position: " + by[0] + "."
	}
	var each []string
	for i, m := range models {
		each = append(each, m+": "+by[i])
	}
	return " What told ear shape from position: " + text.Join(each) + "."
}

// separationWords puts fitcorr.Worn.Separation into plain words.
func separationWords(separation []panel.Separation) string {
	plain := map[panel.Separation]string{
		panel.ByReadings:           "positions read off heads",
		panel.ByBareEars:           "the bare-ear reference",
		panel.BySharedPanel:        "listeners who wore several models",
		panel.ByDisplacedListeners: "listeners who wore it displaced on purpose",
		panel.ByPrior:              "an assumption of how ears differ",
	}
	var out []string
	for _, s := range separation {
		out = append(out, cmp.Or(plain[s], string(s)))
	}
	if len(out) == 1 {
		return out[0] + " alone"
	}
	return strings.Join(out, ", ")
}

// readingNote says how many positions were read off heads and how well, and
// where none were, that reading them pays. A model whose readings could not be
// used has its reason among what the study cannot tell.
func readingNote(r *judged.Study) string {
	var sum fitcorr.Readings
	var without []string
	panels := 0
	for _, m := range r.Analysis.Models {
		if m.Worn == nil {
			continue
		}
		panels++
		if x := m.Worn.Readings; x != nil { // both errors are pooled over models
			sum = fitcorr.Readings{Worn: sum.Worn + x.Worn, OnFixture: sum.OnFixture + x.OnFixture, OneMM: x.OneMM, LandmarkMM: x.LandmarkMM}
		} else if !slices.ContainsFunc(r.Recordings, func(rec report.Recording) bool { return rec.Model == m.Model && rec.Read != nil }) {
			without = append(without, m.Model)
		}
	}
	note := ""
	if sum.Worn > 0 {
		note = " Positions read: " + strconv.Itoa(sum.Worn) + " on listeners, " + strconv.Itoa(sum.OnFixture) +
			" on the fixture; one reading errs by " + text.Fixed(sum.OneMM, 1) + " mm, the landmark of a head by " + text.Fixed(sum.LandmarkMM, 1) +
			" mm (standard deviations)."
	}
	if len(without) == 0 {
		return note
	}
	note += " No positions were read off heads"
	if len(without) < panels {
		note += " with " + strings.Join(without, ", ")
	}
	return note + "; reading them is what narrows the intervals most (docs/study-format.md, \"Read positions\")."
}
