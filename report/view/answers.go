package view

import (
	"slices"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/fitcorr"
	"asworn/report/judged"
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
	for _, s := range r.Seatings {
		if s.Action != judged.Use {
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
	Model  string
	Counts string // "1 to use, 4 to redo, 3 undetermined"
	Rows   []AnswerRow
	Note   string           // below the rows: why there is nothing to judge
	Settle []fitcorr.Remedy // what would tell about the undetermined ones
}

// AnswerRow is one fixture seating.
type AnswerRow struct {
	Seating int
	Word    string
	Tone    table.Tone
	Off     string // the distance that decides, mm, with its interval
	Seal    string
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
	for _, f := range r.Seatings {
		row := AnswerRow{Seating: f.Verdict.Seating, Word: f.Action.String(), Tone: f.Action.Tone(), Link: f.Verdict.ID,
			Off: judged.DistanceShort(f.Verdict), Seal: judged.SealWords(f.Verdict, f.Offset)}
		switch f.Action {
		case judged.Refused:
			row = AnswerRow{Seating: f.Recording.Number, Word: row.Word, Tone: row.Tone, Link: f.Recording.File, Do: judged.MendWords(f.Recording)}
		case judged.Undetermined:
			row.Do = "not decidable yet"
			for _, s := range f.Verdict.Settle {
				a := &out[at[f.Model.Model]]
				a.Settle = addRemedy(a.Settle, s)
			}
		default:
			row.Do = judged.MoveWords(f.Verdict, r.Options)
		}
		a := &out[at[f.Model.Model]]
		a.Rows = append(a.Rows, row)
	}
	for i := range out {
		out[i].Counts = r.counts(out[i].Model)
		if len(out[i].Rows) == 0 {
			out[i].Note = "No fixture seating could be judged against worn ones; below stands why."
		}
	}
	return out
}

// addRemedy adds what would tell unless the same is there already: what it gains
// differs little from seating to seating.
func addRemedy(to []fitcorr.Remedy, r fitcorr.Remedy) []fitcorr.Remedy {
	if slices.ContainsFunc(to, func(o fitcorr.Remedy) bool { return o.Do == r.Do }) {
		return to
	}
	return append(to, r)
}

func words(of []fitcorr.Remedy) []string {
	out := make([]string, len(of))
	for i, r := range of {
		out[i] = r.String()
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
	rec, ok := r.Recording(id)
	if !ok {
		s.Word, s.Tone, s.Do = "waiting", table.Plain, []string{"Put a recording in the study's folder."}
		return s
	}
	s.Seating = judged.NameOf(rec)
	for _, f := range finding.ByCause(rec.Findings) {
		line := text.OneLine(f.Severity.String() + ": " + f.Message)
		if f.Mend != "" {
			line += ". " + text.OneLine(f.Mend)
		}
		s.Detail = append(s.Detail, line)
	}
	if !rec.Usable {
		s.Word, s.Tone, s.Do = judged.Refused.String(), judged.Refused.Tone(), []string{judged.MendWords(rec)}
		return s
	}
	for _, f := range r.Seatings {
		// The drum row of a seating shows the verdict of its blocked row; every other
		// recording is told by its file, since several may bear one number.
		partner := rec.Point == capture.Drum && f.Model.Model == rec.Model && f.Verdict.Seating == rec.Number && !rec.Displaced()
		if f.Action == judged.Refused || f.Verdict.ID != id && !partner {
			continue
		}
		s.Word, s.Tone = f.Action.String(), f.Action.Tone()
		s.Do = []string{judged.MoveWords(f.Verdict, r.Options)}
		if f.Action == judged.Undetermined && len(f.Verdict.Settle) > 0 {
			s.Do = words(f.Verdict.Settle)
		}
		s.Seal = "Seal: " + strings.TrimPrefix(judged.LeakWords(f.Verdict, f.Offset), "seal ")
		return s
	}
	s.Word, s.Tone = "recorded", table.Good
	for _, o := range r.Analysis.StandOuts {
		if o.ID == id && o.Flagged {
			s.Word, s.Tone = "outlier", table.Unsure
			s.Do = append(s.Do, o.Ear.String()+" ear, most at "+text.HertzUnit(o.WorstHz)+" by "+text.Fixed(o.WorstDB, 1)+" dB from its group: "+o.Group)
		}
	}
	return s
}

// Done sums the verdicts up in one line: "Done: 9 to use, 8 to redo, 1 undetermined".
func (r *View) Done() string {
	if len(r.Seatings) == 0 {
		return "Done: no fixture seating to judge"
	}
	return "Done: " + r.counts("")
}

// counts sums up the verdicts on a model's fixture seatings, on all with "".
func (r *View) counts(model string) string {
	n := map[judged.Action]int{}
	for _, f := range r.Seatings {
		if model == "" || f.Model.Model == model {
			n[f.Action]++
		}
	}
	redo := n[judged.Move] + n[judged.Reseal] + n[judged.MoveReseal] + n[judged.Refused]
	return strconv.Itoa(n[judged.Use]) + " to use, " + strconv.Itoa(redo) + " to redo, " + strconv.Itoa(n[judged.Undetermined]) + " undetermined"
}

func (r *View) liveCounts() string {
	n := map[judged.Action]int{}
	for _, f := range r.Seatings {
		n[f.Action]++
	}
	return strconv.Itoa(n[judged.Use]) + " to use, " + strconv.Itoa(n[judged.Move]+n[judged.Reseal]+n[judged.MoveReseal]) + " to move or reseal, " +
		strconv.Itoa(n[judged.Undetermined]) + " undetermined, " + strconv.Itoa(n[judged.Refused]) + " rejected"
}
