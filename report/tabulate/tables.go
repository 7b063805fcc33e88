// Package tabulate says what a study's results hold in tables. It knows neither
// files nor how a table is written (package table), and estimates nothing.
package tabulate

import (
	"slices"
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/seal"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// Tables are all tables of a report; those that the study has nothing for
// are empty.
type Tables struct {
	Fixture, FixtureOffsets                     table.Table
	Listeners, Models                           table.Table
	Sensitivity                                 table.Table
	Repeatability                               []table.Table // per model and point
	StandOuts, Exposure, Findings               table.Table
	Leaks, Survey, Corrections, Members, Budget table.Table
	Recordings                                  table.Table
	findingsBrief                               table.Table
	panel                                       bool
}

// Of makes the tables of a study.
func Of(r *judged.Study) Tables {
	return Tables{
		Fixture: fixtureTable(r), FixtureOffsets: fixtureOffsetTable(r),
		Listeners: listenerTable(r), Models: modelTable(r),
		Sensitivity: sensitivityTable(r), Repeatability: repeatabilityTables(r),
		StandOuts: standOutTable(r), Exposure: exposureTable(r),
		Findings: findingTable(r, false), findingsBrief: findingTable(r, true),
		Leaks: leakTable(r), Survey: surveyTable(r), Corrections: correctionTable(r),
		Members: memberTable(r), Budget: budgetTable(r), Recordings: recordingTable(r),
		panel: hasPanel(r),
	}
}

// All returns every table that has rows, in reading order, for exports.
func (t Tables) All() []table.Table {
	out := t.leading()
	if t.panel {
		out = append(out, filled(t.Repeatability...)...)
	}
	return append(out, filled(t.Leaks, t.Survey, t.Corrections, t.Members, t.Budget, t.Recordings)...)
}

// Brief returns those that a person reads after a run, without any that would be
// dashes alone, and with a finding that many recordings share once.
func (t Tables) Brief() []table.Table {
	t.Findings = t.findingsBrief
	return slices.DeleteFunc(t.leading(), table.Table.Silent)
}

// leading are the tables that come first. Without a panel the scatter per third
// octave is the main result; with one it is in the exports.
func (t Tables) leading() []table.Table {
	out := []table.Table{t.Fixture, t.FixtureOffsets, t.Listeners, t.Models, t.Sensitivity}
	if !t.panel {
		out = append(out, t.Repeatability...)
	}
	return filled(append(out, t.StandOuts, t.Exposure, t.Findings)...)
}

// Scatter returns those of fit sensitivity and of repeatability that have rows.
func (t Tables) Scatter() []table.Table {
	return filled(append([]table.Table{t.Sensitivity}, t.Repeatability...)...)
}

func hasPanel(r *judged.Study) bool {
	return slices.ContainsFunc(r.Analysis.Models, func(m fitcorr.ModelAnalysis) bool { return len(r.Listeners(m.Model)) > 0 })
}

func filled(tables ...table.Table) []table.Table {
	return slices.DeleteFunc(slices.Clone(tables), table.Table.Empty)
}

// fixtureTable lists each fixture seating with its verdict and what to do.
func fixtureTable(r *judged.Study) table.Table {
	t := table.Table{
		Name: "fixture-seatings", Title: "Fixture seatings",
		Note: "Off: how far the part that decides sits from where the panel wore it on average (the sample mean), in the forward-up plane, with its " +
			"lower and upper confidence limit, each of a one-sided test; the tolerance is " + text.Fixed(r.Options.MaxOffsetMM, 1) +
			" mm. Use: the upper limit of both cups is within it (" + text.Percent(r.Options.Confidence) + "). " +
			"Move: the lower limit of a cup, or of the mean of both (headset), is beyond it (" + text.Percent(r.Options.Confidence) + " for the three together). " +
			"Readings alone: what the ruler would say without sound, of the mean of both cups. " +
			"Seal: leakage loss at 50 Hz against the sample mean.",
		Columns: []table.Column{
			modelColumn,
			seatingColumn,
			{Head: "Verdict", Key: "verdict"},
			{Head: "Decided by", Key: "decides"},
			{Head: "Off\nmm", Key: "off_mm", Kind: table.Interval},
			{Head: "Readings\nalone", Key: "readings_alone"},
			{Head: "What to do", Key: "move"},
			{Head: "Seal", Key: "seal"},
		},
	}
	for _, s := range r.Seatings {
		if s.Action == judged.Refused {
			no := table.Count(s.Recording.Number)
			no.Link = s.Recording.File
			t.Add(table.Word(s.Model.Model), no, table.Toned(s.Action.String(), s.Action.Tone()), table.None(), table.None(), table.None(), table.Word(judged.MendWords(s.Recording)), table.None())
			continue
		}
		todo := judged.MoveWords(s.Verdict, r.Options)
		no := table.Count(s.Verdict.Seating)
		no.Link = s.Verdict.ID
		t.Add(table.Word(s.Model.Model), no, table.Toned(s.Action.String(), s.Action.Tone()),
			table.Word(string(s.Verdict.Decides)), distanceCell(s.Verdict.DistanceMM), readingsCell(s.Verdict.Readings), table.Word(todo), table.Word(judged.LeakWords(s.Verdict, s.Offset)))
	}
	return t
}

// readingsCell is what readings say without sound, of the mean of both cups.
func readingsCell(a *fitcorr.Alone) table.Cell {
	if a == nil {
		return table.None()
	}
	return table.Word(string(a.Outcome) + ", " + distanceCell(a.DistanceMM).Text)
}

// distanceCell is a distance with its limits, however they lie: verdicts are read off them.
func distanceCell(d [3]float64) table.Cell {
	c := table.Between(d[0], d[1], d[2])
	c.Text = text.Limits(d[0], d[1], d[2])
	return c
}

// fixtureOffsetTable lists each fixture seating's offset from the panel's mean
// per ear and axis.
func fixtureOffsetTable(r *judged.Study) table.Table {
	t := table.Table{
		Name: "fixture-offsets", Title: "Fixture seatings: offset from the sample mean per ear",
		Note: "Seating minus sample mean with the " + text.Percent(r.Options.Confidence) +
			" interval; positive is toward the nose, toward the crown, headband's top toward the nose. " +
			"Move by the opposite. A dash: not seen by the survey.",
		Columns: []table.Column{
			modelColumn,
			seatingColumn,
			earColumn,
			{Head: "Off\nmm", Key: "off_mm", Kind: table.Interval},
			{Head: "Forward\nmm", Key: "forward_mm", Kind: table.Interval},
			{Head: "Up\nmm", Key: "up_mm", Kind: table.Interval},
			{Head: "Rotation\ndeg", Key: "rotation_deg", Kind: table.Interval},
			{Head: "Leak excess\nat 50 Hz, dB", Key: "leak_excess_50hz_db", Kind: table.Interval},
			{Head: "Misfit\nP", Key: "misfit_p", Kind: table.Number},
			{Head: "Most like", Key: "most_like"},
		},
	}
	for _, s := range r.Seatings {
		if s.Action == judged.Refused {
			continue
		}
		for _, ear := range capture.Ears {
			e := s.Verdict.Ears[ear]
			misfit, leak := table.None(), table.None()
			if s.Offset != nil {
				misfit = table.Value(s.Offset.MisfitP[ear], 2)
			}
			if e.Seal != "" && (s.Offset == nil || s.Offset.Leak[ear].Class != seal.Open) {
				leak = table.Between(e.LeakExcessDB[0], e.LeakExcessDB[1], e.LeakExcessDB[2])
			}
			t.Add(table.Word(s.Model.Model), table.Count(s.Verdict.Seating), table.Word(ear.String()), distanceCell(e.DistanceMM),
				axisCell(e.Off, fitcorr.Forward, r.Options.Confidence),
				axisCell(e.Off, fitcorr.Up, r.Options.Confidence),
				axisCell(e.Off, fitcorr.Rotation, r.Options.Confidence),
				leak, misfit, table.Word(nearestWords(r, s.Verdict)))
		}
	}
	return t
}

func nearestWords(r *judged.Study, v fitcorr.Verdict) string {
	if len(v.Nearest) == 0 {
		return "–"
	}
	n := v.Nearest[0]
	name := n.ID
	if rec, ok := r.Recording(n.ID); ok {
		name = rec.Subject + " seating " + strconv.Itoa(rec.Number)
	}
	return name + " (" + text.Fixed(100*n.Share, 0) + " %)"
}

// listenerTable lists each listener with each model: mean offset per ear, leak
// and usable seatings.
func listenerTable(r *judged.Study) table.Table {
	t := table.Table{
		Name: "listeners", Title: "Listeners",
		Note: "Mean offset of each listener's seatings from the fixture's marked position, with the " +
			text.Percent(r.Options.Confidence) + " interval, and mean leakage loss at 50 Hz.",
		Columns: []table.Column{
			modelColumn,
			{Head: "Listener", Key: "listener", Repeat: true},
			{Head: "Used\nof", Key: "seatings_used"},
			{Head: "Left offset\nforward\nmm", Key: "left_forward_mm", Kind: table.Interval},
			{Head: "Left offset\nup\nmm", Key: "left_up_mm", Kind: table.Interval},
			{Head: "Right offset\nforward\nmm", Key: "right_forward_mm", Kind: table.Interval},
			{Head: "Right offset\nup\nmm", Key: "right_up_mm", Kind: table.Interval},
			{Head: "Rotation\ndeg", Key: "rotation_deg", Kind: table.Interval},
			{Head: "Loss\nleft\ndB", Key: "left_loss_50hz_db", Kind: table.Number},
			{Head: "Loss\nright\ndB", Key: "right_loss_50hz_db", Kind: table.Number},
		},
	}
	for _, m := range r.Analysis.Models {
		for _, who := range r.Listeners(m.Model) {
			of, used := r.SeatingCounts(m.Model, who)
			row := []table.Cell{table.Word(m.Model), table.Word(who), table.Word(strconv.Itoa(used) + " of " + strconv.Itoa(of))}
			l := m.Listener(who)
			for _, e := range l.Ears {
				row = append(row, axisCell(e, fitcorr.Forward, r.Options.Confidence), axisCell(e, fitcorr.Up, r.Options.Confidence))
			}
			row = append(row, axisCell(l.Headset, fitcorr.Rotation, r.Options.Confidence), lossCell(l, capture.Left), lossCell(l, capture.Right))
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

func lossCell(l fitcorr.Listener, ear capture.Ear) table.Cell {
	switch {
	case l.Seals[ear]:
		return table.Value(l.LossDB[ear][0], 1)
	case l.Seatings == 0:
		return table.None()
	}
	return table.Cell{Text: string(seal.Open)}
}
