package report

import (
	"io"
	"slices"
	"strconv"

	"asworn/capture"
	"asworn/fitcorr"
)

// AllTables returns every table of the report in reading order, for exports.
// Tables that the study has nothing for are left out.
func AllTables(r Results) []Table {
	out := terminalTables(r)
	if hasPanel(r) {
		out = append(out, RepeatabilityTables(r)...)
	}
	return filled(append(out, LeakTable(r), SurveyTable(r), CorrectionTable(r), MemberTable(r), BudgetTable(r), RecordingTable(r)))
}

// terminalTables are those that a person reads after a run. Without a panel the
// scatter per third octave is the main result; with one it is in the exports.
func terminalTables(r Results) []Table {
	out := []Table{FixtureTable(r), FixtureOffsetTable(r), ListenerTable(r), ModelTable(r), SensitivityTable(r)}
	if !hasPanel(r) {
		out = append(out, RepeatabilityTables(r)...)
	}
	return filled(append(out, StandOutTable(r), ExposureTable(r), FindingTable(r)))
}

func hasPanel(r Results) bool {
	return slices.ContainsFunc(r.Analysis.Models, func(m fitcorr.ModelAnalysis) bool { return len(listeners(r, m.Model)) > 0 })
}

func filled(tables []Table) []Table {
	return slices.DeleteFunc(tables, Table.empty)
}

// Tables writes the tables that a person reads after a run.
func Tables(w io.Writer, r Results, opt TableOptions) error {
	for _, t := range terminalTables(r) {
		if err := t.WriteText(w, opt); err != nil {
			return err
		}
	}
	return nil
}

// fixtureSeating is one ordinary blocked seating on the fixture with its
// verdict, or with the recording that was refused.
type fixtureSeating struct {
	model   *fitcorr.ModelAnalysis
	verdict fitcorr.Verdict
	offset  *fitcorr.Offset
	act     action
	rec     Recording // of the refused one
}

// fixtureSeatings lists judged seatings model by model, and after each model's
// those that were refused.
func fixtureSeatings(r Results) []fixtureSeating {
	var out []fixtureSeating
	for i := range r.Analysis.Models {
		m := &r.Analysis.Models[i]
		for _, v := range m.Verdicts {
			out = append(out, fixtureSeating{model: m, verdict: v, offset: offsetOf(*m, v.ID), act: actionFor(v)})
		}
		for _, rec := range r.Recordings {
			if rec.Model == m.Model && rec.OnFixture() && rec.Survey == nil && !rec.Usable {
				out = append(out, fixtureSeating{model: m, act: actRefused, rec: rec})
			}
		}
	}
	return out
}

// FixtureTable lists each fixture seating with its verdict and what to do.
func FixtureTable(r Results) Table {
	t := Table{
		Name: "fixture-seatings", Title: "Fixture seatings",
		Note: "How far each cup sits from where the panel wore it on average (the panel's mean), in the forward-up plane, with the " +
			percent(r.Options.Confidence) + " interval; within " + fixed(r.Options.ToleranceMM, 1) +
			" mm is as good as none. The verdict goes by both cups together, which are known better than either, or by a cup that is shown to be off. " +
			"Seal: level lost at 50 Hz against the panel's mean.",
		Columns: []Column{
			{Head: "Model", Key: "model", Repeat: true},
			{Head: "No.", Key: "seating", Kind: Number, Repeat: true},
			{Head: "Verdict", Key: "verdict"},
			{Head: "Left off\nmm", Key: "left_off_mm", Kind: Interval},
			{Head: "Right off\nmm", Key: "right_off_mm", Kind: Interval},
			{Head: "What to do", Key: "move"},
			{Head: "Seal", Key: "seal"},
		},
	}
	for _, s := range fixtureSeatings(r) {
		if s.act == actRefused {
			no := count(s.rec.Number)
			no.Link = s.rec.File
			t.add(words(s.model.Model), no, toned(s.act.word(), s.act.tone()), none(), none(), words(mendWords(s.rec)), none())
			continue
		}
		todo := moveWords(s.verdict, r.Options)
		no := count(s.verdict.Seating)
		no.Link = s.verdict.ID
		t.add(words(s.model.Model), no, toned(s.act.word(), s.act.tone()),
			distanceCell(s.verdict.Ears[0]), distanceCell(s.verdict.Ears[1]), words(todo), words(leakWords(s.verdict, s.offset)))
	}
	return t
}

// distanceCell is a distance with its interval. One that reaches down to zero
// is always written with its limits: "1.8 ± 1.9" would promise less than none.
func distanceCell(e fitcorr.EarVerdict) Cell {
	d := e.DistanceMM
	c := interval(d[0], d[1], d[2])
	if d[1] <= 0 {
		c.Text = limitsText(d[0], d[1], d[2])
	}
	return c
}

// FixtureOffsetTable lists each fixture seating's offset from the panel's mean
// per ear and axis.
func FixtureOffsetTable(r Results) Table {
	t := Table{
		Name: "fixture-offsets", Title: "Fixture seatings: offset from the panel's mean per ear",
		Note: "Seating minus panel's mean with the " + percent(r.Options.Confidence) +
			" interval; positive is toward the nose, toward the crown, headband's top toward the nose. " +
			"Move by the opposite. A dash: not seen by the survey.",
		Columns: []Column{
			{Head: "Model", Key: "model", Repeat: true},
			{Head: "No.", Key: "seating", Kind: Number, Repeat: true},
			{Head: "Ear", Key: "ear", Repeat: true},
			{Head: "Forward\nmm", Key: "forward_mm", Kind: Interval},
			{Head: "Up\nmm", Key: "up_mm", Kind: Interval},
			{Head: "Rotation\ndeg", Key: "rotation_deg", Kind: Interval},
			{Head: "Leak excess\nat 50 Hz, dB", Key: "leak_excess_50hz_db", Kind: Interval},
			{Head: "Misfit\nP", Key: "misfit_p", Kind: Number},
			{Head: "Most like", Key: "most_like"},
		},
	}
	ix := newIndex(r)
	for _, s := range fixtureSeatings(r) {
		if s.act == actRefused {
			continue
		}
		for _, ear := range capture.Ears {
			e := s.verdict.Ears[ear]
			misfit, leak := none(), none()
			if s.offset != nil {
				misfit = number(s.offset.MisfitP[ear], 2)
			}
			if e.LeakOutcome != "" && (s.offset == nil || s.offset.Leak[ear].Class != "open") {
				leak = interval(e.LeakExcessDB[0], e.LeakExcessDB[1], e.LeakExcessDB[2])
			}
			t.add(words(s.model.Model), count(s.verdict.Seating), words(ear.String()),
				axisCell(e.Off, fitcorr.Forward, r.Options.Confidence),
				axisCell(e.Off, fitcorr.Up, r.Options.Confidence),
				axisCell(e.Off, fitcorr.Rotation, r.Options.Confidence),
				leak, misfit, words(nearestWords(ix, s.verdict)))
		}
	}
	return t
}

func nearestWords(ix index, v fitcorr.Verdict) string {
	if len(v.Nearest) == 0 {
		return "–"
	}
	n := v.Nearest[0]
	name := n.ID
	if rec, ok := ix.recording(n.ID); ok {
		name = rec.Subject + " seating " + strconv.Itoa(rec.Number)
	}
	return name + " (" + fixed(100*n.Share, 0) + " %)"
}

// ListenerTable lists each listener with each model: mean offset per ear, leak
// and usable seatings.
func ListenerTable(r Results) Table {
	t := Table{
		Name: "listeners", Title: "Listeners",
		Note: "Mean offset of each listener's seatings from the fixture's marked position, with the " +
			percent(r.Options.Confidence) + " interval, and mean level lost at 50 Hz.",
		Columns: []Column{
			{Head: "Model", Key: "model", Repeat: true},
			{Head: "Listener", Key: "listener", Repeat: true},
			{Head: "Used\nof", Key: "seatings_used"},
			{Head: "Left\nforward\nmm", Key: "left_forward_mm", Kind: Interval},
			{Head: "Left\nup\nmm", Key: "left_up_mm", Kind: Interval},
			{Head: "Right\nforward\nmm", Key: "right_forward_mm", Kind: Interval},
			{Head: "Right\nup\nmm", Key: "right_up_mm", Kind: Interval},
			{Head: "Turn\ndeg", Key: "rotation_deg", Kind: Interval},
			{Head: "Loss\nleft\ndB", Key: "left_loss_50hz_db", Kind: Number},
			{Head: "Loss\nright\ndB", Key: "right_loss_50hz_db", Kind: Number},
		},
	}
	for _, m := range r.Analysis.Models {
		for _, who := range listeners(r, m.Model) {
			of, used := seatingCounts(r, m.Model, who)
			row := []Cell{words(m.Model), words(who), words(strconv.Itoa(used) + " of " + strconv.Itoa(of))}
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
func listeners(r Results, model string) []string {
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

func seatingCounts(r Results, model, who string) (of, used int) {
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

func lossCell(offs []fitcorr.Offset, ear int) Cell {
	var sum float64
	for _, o := range offs {
		if o.Leak[ear].Class == "open" {
			return Cell{Text: "open"}
		}
		sum += o.Leak[ear].LossDB[1]
	}
	if len(offs) == 0 {
		return none()
	}
	return number(sum/float64(len(offs)), 1)
}
