package bench

import (
	"strings"
	"testing"

	"asworn/capture"
)

func rowsOf(recorded ...bool) []Row {
	var rows []Row
	for i, r := range recorded {
		s := capture.Seating{File: string(rune('a'+i)) + ".wav", Model: "Model B", Subject: "L03", Point: capture.Blocked, Number: i + 1}
		if i < 2 {
			s.Subject = capture.FixtureSubject
		}
		rows = append(rows, Row{Seating: s, Recorded: r, Planned: true})
	}
	return rows
}

// The session as a table of keys: what is shown and done after each.
func TestSession(t *testing.T) {
	type step struct {
		do    string // a key, "heard", "lost", "keep" or "again"
		at    int
		phase Phase
		act   Act
	}
	keys := map[string]Key{"enter": Enter, "y": Confirm, "next": Next, "a": Again, "b": Back, "s": Skip, "+": Repeat, "x": Drop, "?": Other}
	for name, c := range map[string]struct {
		rows     []Row
		cautions bool
		steps    []step
	}{
		"goes on where it stopped": {rowsOf(true, false, true, false), false, []step{
			{"enter", 1, Playing, Play}, {"heard", 1, Judging, Nothing}, {"enter", 1, Judging, Nothing}, {"keep", 1, Judged, Nothing}, {"enter", 3, Ready, Nothing}}},
		"any key silences": {rowsOf(false), false, []step{
			{"enter", 0, Playing, Play}, {"?", 0, Playing, Silence}, {"s", 0, Playing, Silence}, {"lost", 0, Ready, Nothing}, {"enter", 0, Playing, Play}}},
		"a rejected take is recorded again": {rowsOf(false, false), false, []step{
			{"enter", 0, Playing, Play}, {"heard", 0, Judging, Nothing}, {"again", 0, Judged, Nothing}, {"enter", 0, Ready, Nothing}, {"enter", 0, Playing, Play},
			{"heard", 0, Judging, Nothing}, {"again", 0, Judged, Nothing}, {"next", 1, Ready, Nothing}}},
		"a good take again": {rowsOf(false, false), false, []step{
			{"enter", 0, Playing, Play}, {"heard", 0, Judging, Nothing}, {"keep", 0, Judged, Nothing}, {"a", 0, Ready, Nothing}, {"enter", 0, Playing, Play}}},
		"skipped rows come at the end": {rowsOf(false, false), false, []step{
			{"s", 1, Ready, Nothing}, {"enter", 1, Playing, Play}, {"heard", 1, Judging, Nothing}, {"keep", 1, Judged, Nothing}, {"enter", 0, Ready, Nothing}}},
		"a rejected take comes again at the end": {rowsOf(false, false), false, []step{
			{"enter", 0, Playing, Play}, {"heard", 0, Judging, Nothing}, {"again", 0, Judged, Nothing}, {"s", 1, Ready, Nothing}, {"enter", 1, Playing, Play},
			{"heard", 1, Judging, Nothing}, {"keep", 1, Judged, Nothing}, {"enter", 0, Ready, Nothing}, {"next", 2, Finished, Nothing}}},
		"back": {rowsOf(true, true, false), false, []step{{"b", 1, Ready, Nothing}, {"b", 0, Ready, Nothing}, {"b", 0, Ready, Nothing}, {"enter", 0, Playing, Play}}},
		"a listener needs the cautions": {rowsOf(true, true, false, false), false, []step{
			{"enter", 2, Caution, Nothing}, {"?", 2, Caution, Nothing}, {"enter", 2, Caution, Nothing}, {"y", 2, Ready, Nothing}}},
		"confirmed cautions":         {rowsOf(true, true, false), true, []step{{"enter", 2, Playing, Play}}},
		"repeat and drop":            {rowsOf(true, false), false, []step{{"+", 1, Ready, AddRow}, {"x", 1, Ready, DropRow}}},
		"a recording is not dropped": {rowsOf(true, false), false, []step{{"b", 0, Ready, Nothing}, {"x", 0, Ready, Nothing}}},
		"nothing left":               {rowsOf(true, true), false, []step{{"enter", 2, Finished, Nothing}, {"x", 2, Finished, Nothing}, {"b", 1, Ready, Nothing}}},
	} {
		s := NewSession(c.rows)
		for i, st := range c.steps {
			act := Nothing
			switch st.do {
			case "heard", "lost":
				s = s.Heard(st.do == "heard")
			case "keep", "again":
				s = s.Judge(st.do == "keep")
			default:
				s, act = s.Press(keys[st.do], c.cautions)
			}
			if s.At != st.at || s.Phase != st.phase || act != st.act {
				t.Errorf("%s, step %d (%s): row %d, %v, act %d; want %d, %v, %d", name, i+1, st.do, s.At, s.Phase, act, st.at, st.phase, st.act)
				break
			}
		}
	}
}

// A session is a value: an event leaves the earlier ones as they were.
func TestSessionIsAValue(t *testing.T) {
	before := NewSession(rowsOf(false, false, false))
	s, _ := before.Press(Skip, false)
	s, _ = s.Press(Enter, false)
	s = s.Heard(true).Judge(true)
	s = s.Added(Row{}).Dropped()
	if before.At != 0 || before.Left() != 3 || len(before.Rows) != 3 || before.Rows[0].Skipped || before.Rows[1].Recorded {
		t.Errorf("%+v", before)
	}
	if s.Left() != 2 {
		t.Errorf("%d left, want 2", s.Left())
	}
}

func TestTitle(t *testing.T) {
	rows := rowsOf(true, false, false)
	rows[1].Survey = &capture.Displacement{ForwardMM: 4, UpMM: -2}
	s := NewSession(rows)
	if want := "Row 2 of 3: Model B on the fixture, seating 2, blocked ear-canal entrance: 4 mm forward, 2 mm down"; s.Title() != want {
		t.Errorf("%q, want %q", s.Title(), want)
	}
	s, _ = s.Press(Skip, false)
	if want := "Row 3 of 3: Model B on L03, seating 3"; s.Title() != want {
		t.Errorf("%q, want %q", s.Title(), want)
	}
	rows[2].Model = ""
	if got := (Session{Rows: rows, At: 2}).Title(); !strings.Contains(got, "bare ear of L03") {
		t.Error(got)
	}
}

func TestSafety(t *testing.T) {
	fixture := capture.Seating{Model: "Model A", Subject: capture.FixtureSubject}
	person := capture.Seating{Model: "Model A", Subject: "L01"}
	known := map[string]Level{"Model A": {DB: 70, GainDB: -20, Known: true}}
	unknown := map[string]Level{"Model A": {GainDB: -30}}
	for name, c := range map[string]struct {
		s    Safety
		row  capture.Seating
		want string // empty when it may be played
	}{
		"fixture first":                  {Safety{LimitDB: 80}, fixture, ""},
		"no cautions":                    {Safety{LimitDB: 80, GainDB: -20, Levels: known}, person, "cautions"},
		"no level":                       {Safety{LimitDB: 80, GainDB: -60, Cautions: true}, person, "level check"},
		"another model's level":          {Safety{LimitDB: 80, GainDB: -60, Cautions: true, Levels: map[string]Level{"Model B": {Known: true}}}, person, "level check"},
		"within the limit":               {Safety{LimitDB: 80, GainDB: -10, Cautions: true, Levels: known}, person, ""},
		"above it":                       {Safety{LimitDB: 80, GainDB: -9, Cautions: true, Levels: known}, person, "81.0 dB(A)"},
		"above it on the fixture":        {Safety{LimitDB: 80, GainDB: -9, Levels: known}, fixture, "81.0 dB(A)"},
		"without calibration low":        {Safety{LimitDB: 80, GainDB: LowGainDB, Cautions: true, Levels: unknown}, person, ""},
		"without calibration not higher": {Safety{LimitDB: 80, GainDB: LowGainDB + 1, Cautions: true, Levels: unknown}, person, "sound level meter"},
	} {
		err := c.s.Refuse(c.row)
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	s := Safety{LimitDB: 80, GainDB: -12}
	steps := s.Steps()
	if steps[0] != -42 || steps[len(steps)-1] != -12 || len(steps) != 4 {
		t.Errorf("steps %v", steps)
	}
	if s.MayRise(Level{DB: 69, GainDB: -32, Known: true}, -22) != nil || s.MayRise(Level{DB: 71, GainDB: -32, Known: true}, -22) == nil {
		t.Error("the level check rises above the limit, or stops below it")
	}
}
