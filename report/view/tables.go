package view

import (
	"slices"
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report/table"
	"asworn/report/text"
)

// The columns that name a row in most tables.
var (
	modelColumn   = table.Column{Head: "Model", Key: "model", Repeat: true}
	earColumn     = table.Column{Head: "Ear", Key: "ear", Repeat: true}
	pointColumn   = table.Column{Head: "Point", Key: "point", Repeat: true}
	seatingColumn = table.Column{Head: "No.", Key: "seating", Kind: table.Number, Repeat: true}
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
	panel                                       bool
}

// Tables returns the tables of the report.
func (r *View) Tables() Tables { return r.tables() }

func (r *View) makeTables() Tables {
	return Tables{
		Fixture: r.fixtureTable(), FixtureOffsets: r.fixtureOffsetTable(),
		Listeners: r.listenerTable(), Models: r.modelTable(),
		Sensitivity: r.sensitivityTable(), Repeatability: r.repeatabilityTables(),
		StandOuts: r.standOutTable(), Exposure: r.exposureTable(), Findings: r.findingTable(),
		Leaks: r.leakTable(), Survey: r.surveyTable(), Corrections: r.correctionTable(),
		Members: r.memberTable(), Budget: r.budgetTable(), Recordings: r.recordingTable(),
		panel: r.hasPanel(),
	}
}

// All returns every table that has rows, in reading order, for exports.
func (t Tables) All() []table.Table {
	out := t.Brief()
	if t.panel {
		out = append(out, filled(t.Repeatability...)...)
	}
	return append(out, filled(t.Leaks, t.Survey, t.Corrections, t.Members, t.Budget, t.Recordings)...)
}

// Brief returns those that a person reads after a run. Without a panel the
// scatter per third octave is the main result; with one it is in the exports.
func (t Tables) Brief() []table.Table {
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

func (r *View) hasPanel() bool {
	return slices.ContainsFunc(r.Analysis.Models, func(m fitcorr.ModelAnalysis) bool { return len(r.listeners(m.Model)) > 0 })
}

func filled(tables ...table.Table) []table.Table {
	return slices.DeleteFunc(slices.Clone(tables), table.Table.Empty)
}

// fixtureTable lists each fixture seating with its verdict and what to do.
func (r *View) fixtureTable() table.Table {
	t := table.Table{
		Name: "fixture-seatings", Title: "Fixture seatings",
		Note: "Off: how far the part that decides sits from where the panel wore it on average (the panel's mean), in the forward-up plane, with the " +
			text.Percent(r.Options.Confidence) + " interval; within " + text.Fixed(r.Options.ToleranceMM, 1) +
			" mm is as good as none. Use: both cups are shown to be within, and the one that may be the farther off decides. " +
			"Move: a cup, or the mean of both (headset), is shown to be outside. " +
			"Seal: level lost at 50 Hz against the panel's mean.",
		Columns: []table.Column{
			modelColumn,
			seatingColumn,
			{Head: "Verdict", Key: "verdict"},
			{Head: "Decided by", Key: "decides"},
			{Head: "Off\nmm", Key: "off_mm", Kind: table.Interval},
			{Head: "What to do", Key: "move"},
			{Head: "Seal", Key: "seal"},
		},
	}
	for _, s := range r.seatings {
		if s.act == actRefused {
			no := table.Count(s.rec.Number)
			no.Link = s.rec.File
			t.Add(table.Word(s.model.Model), no, table.Toned(s.act.word(), s.act.tone()), table.None(), table.None(), table.Word(mendWords(s.rec)), table.None())
			continue
		}
		todo := moveWords(s.verdict, r.Options)
		no := table.Count(s.verdict.Seating)
		no.Link = s.verdict.ID
		t.Add(table.Word(s.model.Model), no, table.Toned(s.act.word(), s.act.tone()),
			table.Word(string(s.verdict.Decides)), distanceCell(s.verdict.DistanceMM), table.Word(todo), table.Word(leakWords(s.verdict, s.offset)))
	}
	return t
}

// distanceCell is a distance with its interval. One that reaches down to zero
// is always written with its limits: "1.8 ± 1.9" would promise less than none.
func distanceCell(d [3]float64) table.Cell {
	c := table.Between(d[0], d[1], d[2])
	if d[1] <= 0 {
		c.Text = text.Limits(d[0], d[1], d[2])
	}
	return c
}

// fixtureOffsetTable lists each fixture seating's offset from the panel's mean
// per ear and axis.
func (r *View) fixtureOffsetTable() table.Table {
	t := table.Table{
		Name: "fixture-offsets", Title: "Fixture seatings: offset from the panel's mean per ear",
		Note: "Seating minus panel's mean with the " + text.Percent(r.Options.Confidence) +
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
	for _, s := range r.seatings {
		if s.act == actRefused {
			continue
		}
		for _, ear := range capture.Ears {
			e := s.verdict.Ears[ear]
			misfit, leak := table.None(), table.None()
			if s.offset != nil {
				misfit = table.Value(s.offset.MisfitP[ear], 2)
			}
			if e.LeakOutcome != "" && (s.offset == nil || s.offset.Leak[ear].Class != "open") {
				leak = table.Between(e.LeakExcessDB[0], e.LeakExcessDB[1], e.LeakExcessDB[2])
			}
			t.Add(table.Word(s.model.Model), table.Count(s.verdict.Seating), table.Word(ear.String()), distanceCell(e.DistanceMM),
				axisCell(e.Off, fitcorr.Forward, r.Options.Confidence),
				axisCell(e.Off, fitcorr.Up, r.Options.Confidence),
				axisCell(e.Off, fitcorr.Rotation, r.Options.Confidence),
				leak, misfit, table.Word(r.nearestWords(s.verdict)))
		}
	}
	return t
}

func (r *View) nearestWords(v fitcorr.Verdict) string {
	if len(v.Nearest) == 0 {
		return "–"
	}
	n := v.Nearest[0]
	name := n.ID
	if rec, ok := r.recording(n.ID); ok {
		name = rec.Subject + " seating " + strconv.Itoa(rec.Number)
	}
	return name + " (" + text.Fixed(100*n.Share, 0) + " %)"
}

// listenerTable lists each listener with each model: mean offset per ear, leak
// and usable seatings.
func (r *View) listenerTable() table.Table {
	t := table.Table{
		Name: "listeners", Title: "Listeners",
		Note: "Mean offset of each listener's seatings from the fixture's marked position, with the " +
			text.Percent(r.Options.Confidence) + " interval, and mean level lost at 50 Hz.",
		Columns: []table.Column{
			modelColumn,
			{Head: "Listener", Key: "listener", Repeat: true},
			{Head: "Used\nof", Key: "seatings_used"},
			{Head: "Left\nforward\nmm", Key: "left_forward_mm", Kind: table.Interval},
			{Head: "Left\nup\nmm", Key: "left_up_mm", Kind: table.Interval},
			{Head: "Right\nforward\nmm", Key: "right_forward_mm", Kind: table.Interval},
			{Head: "Right\nup\nmm", Key: "right_up_mm", Kind: table.Interval},
			{Head: "Turn\ndeg", Key: "rotation_deg", Kind: table.Interval},
			{Head: "Loss\nleft\ndB", Key: "left_loss_50hz_db", Kind: table.Number},
			{Head: "Loss\nright\ndB", Key: "right_loss_50hz_db", Kind: table.Number},
		},
	}
	for _, m := range r.Analysis.Models {
		for _, who := range r.listeners(m.Model) {
			of, used := r.seatingCounts(m.Model, who)
			row := []table.Cell{table.Word(m.Model), table.Word(who), table.Word(strconv.Itoa(used) + " of " + strconv.Itoa(of))}
			mine := ordinary(m, who)
			for _, ear := range capture.Ears {
				e := meanEstimate(mine, func(o fitcorr.Offset) fitcorr.Estimate { return o.Ears[ear] })
				row = append(row, axisCell(e, fitcorr.Forward, r.Options.Confidence), axisCell(e, fitcorr.Up, r.Options.Confidence))
			}
			e := meanEstimate(mine, func(o fitcorr.Offset) fitcorr.Estimate { return o.Headset })
			row = append(row, axisCell(e, fitcorr.Rotation, r.Options.Confidence), lossCell(mine, 0), lossCell(mine, 1))
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

// ordinary returns a subject's offsets without the deliberate ones.
func ordinary(m fitcorr.ModelAnalysis, who string) []fitcorr.Offset {
	var out []fitcorr.Offset
	for _, o := range m.Offsets {
		if o.Subject == who && !o.Survey {
			out = append(out, o)
		}
	}
	return out
}

// listeners names those who wore a model, in the order of the sheet.
func (r *View) listeners(model string) []string {
	var out []string
	seen := map[string]bool{}
	for _, rec := range r.Recordings {
		if rec.Model == model && !rec.OnFixture() && !rec.BareEar() && !seen[rec.Subject] {
			seen[rec.Subject] = true
			out = append(out, rec.Subject)
		}
	}
	return out
}

func (r *View) seatingCounts(model, who string) (of, used int) {
	for _, rec := range r.Recordings {
		if rec.Model == model && rec.Subject == who && rec.Survey == nil && !rec.BareEar() {
			of++
			if rec.Usable {
				used++
			}
		}
	}
	return of, used
}

// meanEstimate averages a listener's seatings. The confounded share of the
// variance (ear shape) is the same in all of them and does not average out;
// the rest does.
func meanEstimate(offs []fitcorr.Offset, of func(fitcorr.Offset) fitcorr.Estimate) fitcorr.Estimate {
	var out fitcorr.Estimate
	n := float64(len(offs))
	for i, o := range offs {
		e := of(o)
		for a := range 3 {
			c := e.Confounded[a]
			out.Value[a] += e.Value[a] / n
			out.Cov[a][a] += e.Cov[a][a] * (c + (1-c)/n) / n
			out.Seen[a] = e.Seen[a] && (i == 0 || out.Seen[a])
		}
		if i == 0 || e.DF > 0 && (out.DF == 0 || e.DF < out.DF) { // 0 is normal: the most there can be
			out.DF = e.DF
		}
	}
	return out
}

func lossCell(offs []fitcorr.Offset, ear int) table.Cell {
	var sum float64
	for _, o := range offs {
		if o.Leak[ear].Class == "open" {
			return table.Cell{Text: "open"}
		}
		sum += o.Leak[ear].LossDB[1]
	}
	if len(offs) == 0 {
		return table.None()
	}
	return table.Value(sum/float64(len(offs)), 1)
}
