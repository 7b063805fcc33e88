package report

import (
	"io"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/fitcorr"
)

// Section is one part of the summary in plain words.
type Section struct {
	Title string
	Lines []Line
	// Verdicts marks the sections that repeat the verdicts of fixture seatings.
	Verdicts bool
}

// Line is one sentence of the summary and the seating it speaks of, if one.
type Line struct {
	Text string
	Link string
	Tone Tone
}

// Sections says in plain words what a study found: which fixture seatings to
// use, which to move and where, which recordings were refused and what mends
// them, and what the study cannot answer. Empty parts are left out.
func Sections(r Results) []Section {
	sections := []Section{
		useSection(r),
		fixtureSection(r, "Move or reseal these, then record again", actMove, actReseal, actMoveReseal),
		unsureSection(r),
		refusedSection(r),
		standOutSection(r),
		cannotSection(r),
	}
	var out []Section
	for _, s := range sections {
		if len(s.Lines) > 0 {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		out = append(out, Section{Title: "Nothing to judge", Lines: []Line{{Text: "This study holds no usable fixture seating."}}})
	}
	return out
}

// Summary writes the sections as plain text of at most 100 columns.
func Summary(w io.Writer, r Results) error { return SummaryWidth(w, r, 100) }

// SummaryWidth writes the sections as plain text that fits width columns.
func SummaryWidth(w io.Writer, r Results, width int) error {
	width = TableOptions{Width: width}.width()
	var b strings.Builder
	for _, s := range Sections(r) {
		b.WriteString(strings.Join(wrap(s.Title, width), "\n") + "\n")
		for _, l := range s.Lines {
			for i, part := range wrap(l.Text, width-4) {
				if i == 0 {
					b.WriteString("  • " + part + "\n")
				} else {
					b.WriteString("    " + part + "\n")
				}
			}
		}
		b.WriteString("\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func fixtureSection(r Results, title string, acts ...action) Section {
	s := Section{Title: title, Verdicts: true}
	for _, f := range fixtureSeatings(r) {
		for _, a := range acts {
			if f.act == a {
				s.Lines = append(s.Lines, Line{Text: fixtureLine(r, f), Link: f.verdict.ID, Tone: a.tone()})
			}
		}
	}
	return s
}

// unsureSection lists the undetermined seatings, and after those that the same
// would settle, what that is.
func unsureSection(r Results) Section {
	s := Section{Title: "Undetermined", Verdicts: true}
	settle := ""
	tell := func() {
		if settle != "" {
			s.Lines = append(s.Lines, Line{Text: "What would tell: " + settle + "."})
		}
	}
	for _, f := range fixtureSeatings(r) {
		if f.act != actUnsure {
			continue
		}
		if own := strings.Join(f.verdict.Settle, ", "); own != settle {
			tell()
			settle = own
		}
		s.Lines = append(s.Lines, Line{Text: fixtureLine(r, f), Link: f.verdict.ID, Tone: f.act.tone()})
	}
	tell()
	return s
}

// useSection lists the seatings to use, and for a model without one the seating
// that is nearest by its best estimate: an operator has to go on from somewhere.
func useSection(r Results) Section {
	s := fixtureSection(r, "Use these fixture seatings", actUse)
	best := make(map[string]*fixtureSeating)
	var models []string
	for _, f := range fixtureSeatings(r) {
		name := f.model.Model
		b, seen := best[name]
		if !seen {
			models = append(models, name)
		}
		switch {
		case f.act != actUse && f.act != actUnsure:
			best[name] = b
		case b == nil || f.act == actUse || b.act != actUse && f.verdict.Headset.DistanceMM[0] < b.verdict.Headset.DistanceMM[0]:
			best[name] = &f
		}
	}
	for _, name := range models {
		if b := best[name]; b != nil && b.act == actUnsure {
			s.Lines = append(s.Lines, Line{
				Text: name + ": none is shown to sit as worn; by its best estimate seating " + strconv.Itoa(b.verdict.Seating) +
					" is nearest (" + distanceWords(b.verdict.Headset) + ").",
				Link: b.verdict.ID, Tone: Unsure,
			})
		}
	}
	return s
}

// distanceWords gives the distance from the panel's mean with its interval.
func distanceWords(v fitcorr.EarVerdict) string {
	d := v.DistanceMM
	if d[1] <= 0 {
		return fixed(d[0], 1) + " mm off, at most " + fixed(d[2], 1) + " mm"
	}
	return fixed(d[0], 1) + " mm off, between " + fixed(d[1], 1) + " and " + fixed(d[2], 1) + " mm"
}

func fixtureLine(r Results, f fixtureSeating) string {
	name := f.model.Model + ", seating " + strconv.Itoa(f.verdict.Seating) + ": "
	leak := leakWords(f.verdict, f.offset)
	switch f.act {
	case actUse:
		return name + "sits as worn; " + leak + "."
	case actUnsure:
		return name + "the data do not tell whether it sits as worn (" + distanceWords(f.verdict.Headset) + ")."
	}
	line := name + moveWords(f.verdict, r.Options)
	if f.act != actMove {
		line += " (" + leak + ")"
	}
	return line + "."
}

func standOutSection(r Results) Section {
	s := Section{Title: "Seatings that stand out of their own group"}
	ix := newIndex(r)
	for _, o := range r.Analysis.StandOuts {
		if !o.Flagged {
			continue
		}
		what := o.Ear + " ear, " + o.Band + " band, most at " + hertzUnit(o.WorstHz) + " by " +
			fixed(o.WorstDB, 1) + " dB (P " + probability(o.P) + ")"
		if n := len(s.Lines); n > 0 && s.Lines[n-1].Link == o.ID { // one line per recording
			s.Lines[n-1].Text += "; " + what
			continue
		}
		s.Lines = append(s.Lines, Line{Text: ix.name(o.ID) + ": " + what, Link: o.ID, Tone: Unsure})
	}
	for i := range s.Lines {
		s.Lines[i].Text += "."
	}
	return s
}

func refusedSection(r Results) Section {
	s := Section{Title: "Refused recordings, kept out of every curve"}
	for _, rec := range r.Recordings {
		if rec.Usable {
			continue
		}
		var why []string
		for _, f := range rec.Findings {
			if f.Severity == capture.Refusal {
				why = append(why, oneLine(strings.TrimSuffix(f.Message, ".")))
			}
		}
		if len(why) == 0 {
			why = []string{"not usable"}
		}
		s.Lines = append(s.Lines, Line{
			Text: "row " + strconv.Itoa(rec.Row) + ", " + seatingName(rec) + " (" + rec.File + "): " + join(why) +
				". Mend: " + mendWords(rec),
			Link: rec.File, Tone: Bad,
		})
	}
	return s
}

func cannotSection(r Results) Section {
	s := Section{Title: "What this study cannot tell"}
	for _, c := range r.Analysis.Cannot {
		s.Lines = append(s.Lines, Line{Text: sentence(c)})
	}
	for _, m := range r.Analysis.Models {
		for _, c := range m.Cannot {
			s.Lines = append(s.Lines, Line{Text: m.Model + ": " + sentence(c)})
		}
	}
	for _, c := range r.Findings {
		s.Lines = append(s.Lines, Line{Text: sentence(c)})
	}
	return s
}
