package view

import (
	"strconv"
	"strings"

	"asworn/capture/finding"
	"asworn/report/draw"
	"asworn/report/figure"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/text"
)

// Sheet is all that is known of one fixture seating, for the page.
type Sheet struct {
	Key     string // of the seating
	Model   string
	Seating int
	Word    string
	Tone    table.Tone
	Facts   []Fact
	Side    *figure.Side   // nil where no offset is known
	Curves  *figure.Figure // nil where there is nothing to compare with
}

// Fact is one line of a sheet.
type Fact struct{ Name, Text string }

// Sheets gives a sheet for each fixture seating, in the order of the verdicts.
func (r *View) Sheets() []Sheet {
	sides := draw.SideViews(r.Study)
	var out []Sheet
	for _, f := range r.Seatings {
		s := Sheet{Key: f.Verdict.ID, Model: f.Model.Model, Seating: f.Verdict.Seating, Word: f.Action.String(), Tone: f.Action.Tone()}
		if f.Action == judged.Refused {
			s.Key, s.Seating = f.Recording.File, f.Recording.Number
		} else {
			s.Facts = append(s.Facts, r.facts(f)...)
		}
		if rec, ok := r.Recording(s.Key); ok {
			for _, c := range finding.ByCause(rec.Findings) {
				s.Facts = append(s.Facts, Fact{text.Sentence(c.Severity.String()), text.Sentence(c.Message) + " " + text.Sentence(c.Mend)})
			}
		}
		var outlier []string
		for _, o := range r.Analysis.StandOuts {
			if o.ID == s.Key && o.Flagged {
				outlier = append(outlier, judged.OutlierWords(o))
			}
		}
		if len(outlier) > 0 {
			s.Facts = append(s.Facts, Fact{"Outlier", text.Sentence(strings.Join(outlier, "; "))})
		}
		if side, ok := sides[s.Key]; ok {
			s.Side = &side
		}
		if fig, ok := draw.Against(r.Study, f); ok {
			s.Curves = &fig
		}
		out = append(out, s)
	}
	return out
}

// facts are what the verdict says.
func (r *View) facts(f judged.Seating) []Fact {
	v := f.Verdict
	out := []Fact{{"What to do", text.Sentence(judged.MoveWords(v, r.Options))}}
	if v.DistanceMM[2] > 0 {
		out = append(out, Fact{"Distance from the sample mean", judged.DistanceWords(v) + "; tolerance " + text.Fixed(r.Options.MaxOffsetMM, 1) + " mm"})
	}
	for i, name := range []string{"Left", "Right"} {
		if e := v.Ears[i]; e.Off.Seen[0] && e.Off.Seen[1] {
			out = append(out, Fact{name + " offset", signed(e.Off.Value[0]) + " mm forward, " + signed(e.Off.Value[1]) + " mm up"})
		}
	}
	out = append(out, Fact{"Seal", text.Sentence(judged.LeakWords(v, f.Offset) + judged.WhySeal(v))})
	if len(v.Settle) > 0 && f.Action == judged.Undetermined {
		out = append(out, Fact{"What would decide", text.Sentence(strings.Join(words(v.Settle), ", "))})
	}
	if len(v.Nearest) > 0 {
		if rec, ok := r.Recording(v.Nearest[0].ID); ok {
			out = append(out, Fact{"Most like", rec.Subject + ", seating " + strconv.Itoa(rec.Number) + " (" + text.Percent(v.Nearest[0].Share) + ")"})
		}
	}
	return out
}

// signed is a number with its sign, so that a direction is not read as a distance.
func signed(v float64) string {
	s := text.Fixed(v, 1)
	if v > 0 && s != "0.0" {
		return "+" + s
	}
	return s
}
