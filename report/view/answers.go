package view

import (
	"slices"
	"strconv"
	"strings"

	"asworn/report/table"
	"asworn/report/text"
)

// NeedsOperator reports whether any seating asks for something to be done or
// looked at: a recording that was refused, a fixture seating that is not shown
// to be good, one that stands out of its group.
func (r *View) NeedsOperator() bool {
	for _, rec := range r.Recordings {
		if !rec.Usable {
			return true
		}
	}
	for _, s := range r.seatings {
		if s.act != actUse {
			return true
		}
	}
	for _, s := range r.Analysis.StandOuts {
		if s.Flagged {
			return true
		}
	}
	return false
}

// Answer is one model on the first screen.
type Answer struct {
	Model string
	Rows  []AnswerRow
	Note  string // below the rows: what would tell, or why there is nothing to judge

	settle []string
}

// AnswerRow is one fixture seating.
type AnswerRow struct {
	Seating int
	Word    string
	Tone    table.Tone
	Do      string
	Link    string
}

// Answers are the verdicts on the fixture seatings, model by model.
func (r *View) Answers() []Answer {
	var out []Answer
	at := map[string]int{}
	for _, m := range r.Analysis.Models {
		at[m.Model] = len(out)
		out = append(out, Answer{Model: m.Model})
	}
	for _, f := range r.seatings {
		row := AnswerRow{Seating: f.verdict.Seating, Word: f.act.word(), Tone: f.act.tone(), Link: f.verdict.ID}
		switch f.act {
		case actRefused:
			row.Seating, row.Link, row.Do = f.rec.Number, f.rec.File, mendWords(f.rec)
		case actUnsure:
			row.Do = "cannot be told yet: " + distanceWords(f.verdict)
			for _, s := range f.verdict.Settle {
				if a := &out[at[f.model.Model]]; !slices.Contains(a.settle, s) {
					a.settle = append(a.settle, s)
				}
			}
		default:
			row.Do = moveWords(f.verdict, r.Options)
		}
		a := &out[at[f.model.Model]]
		a.Rows = append(a.Rows, row)
	}
	for i := range out {
		if len(out[i].settle) > 0 {
			out[i].Note = "What would tell: " + strings.Join(out[i].settle, ", ") + "."
		}
		if len(out[i].Rows) == 0 {
			out[i].Note = "No fixture seating could be judged against worn ones; below stands why."
		}
	}
	return out
}

// State is one seating in words, for the live view at the fixture.
type State struct {
	Title   string     `json:"title"`
	Seating string     `json:"seating"`
	Word    string     `json:"word"`
	Tone    table.Tone `json:"-"`
	Do      []string   `json:"do"`
	Seal    string     `json:"seal"`
	Detail  []string   `json:"detail"` // findings and mends
	Counts  string     `json:"counts"`
}

// State puts one seating into words, whatever kind it is.
func (r *View) State(id string) State {
	s := State{Title: r.Title, Counts: r.liveCounts(), Do: []string{}, Detail: []string{}}
	rec, ok := r.recording(id)
	if !ok {
		s.Word, s.Tone, s.Do = "waiting", table.Plain, []string{"Put a recording in the study's folder."}
		return s
	}
	s.Seating = seatingName(rec)
	for _, f := range rec.Findings {
		line := text.OneLine(f.Severity.String() + ": " + f.Message)
		if f.Mend != "" {
			line += ". " + text.OneLine(f.Mend)
		}
		s.Detail = append(s.Detail, line)
	}
	if !rec.Usable {
		s.Word, s.Tone, s.Do = actRefused.word(), actRefused.tone(), []string{mendWords(rec)}
		return s
	}
	for _, f := range r.seatings {
		// The drum row of a seating shows the verdict of its blocked row.
		if f.act == actRefused || f.verdict.ID != id && !(rec.OnFixture() && f.model.Model == rec.Model && f.verdict.Seating == rec.Number && rec.Survey == nil) {
			continue
		}
		s.Word, s.Tone = f.act.word(), f.act.tone()
		s.Do = []string{moveWords(f.verdict, r.Options)}
		if f.act == actUnsure && len(f.verdict.Settle) > 0 {
			s.Do = f.verdict.Settle
		}
		s.Seal = "Seal: " + leakWords(f.verdict, f.offset)
		return s
	}
	s.Word, s.Tone = "recorded", table.Good
	for _, o := range r.Analysis.StandOuts {
		if o.ID == id && o.Flagged {
			s.Word, s.Tone = "stands out", table.Unsure
			s.Do = append(s.Do, o.Ear+" ear, most at "+text.HertzUnit(o.WorstHz)+" by "+text.Fixed(o.WorstDB, 1)+" dB from its group: "+o.Group)
		}
	}
	return s
}

func (r *View) liveCounts() string {
	n := map[action]int{}
	for _, f := range r.seatings {
		n[f.act]++
	}
	return strconv.Itoa(n[actUse]) + " to use, " + strconv.Itoa(n[actMove]+n[actReseal]+n[actMoveReseal]) + " to move or reseal, " +
		strconv.Itoa(n[actUnsure]) + " undetermined, " + strconv.Itoa(n[actRefused]) + " refused"
}
