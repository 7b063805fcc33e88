package view

import (
	"io"
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
	Tone table.Tone
}

// Sections says in plain words what a study found: which fixture seatings to
// use, which to move and where, which recordings were refused and what mends
// them, and what the study cannot answer. Empty parts are left out.
func (r *View) Sections() []Section {
	sections := []Section{
		r.fixtureSection("Use these fixture seatings", judged.Use),
		r.nearestSection(),
		r.fixtureSection("Move or reseal these, then record again", judged.Move, judged.Reseal, judged.MoveReseal),
		r.unsureSection(),
		r.changedSection(),
		r.refusedSection(),
		r.standOutSection(),
		r.cannotSection(),
		r.noteSection(),
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

// Lacks says in a line what keeps all or some models from being judged in mm,
// and what to do; "" when each has its survey, or nothing is to be judged.
func (r *View) Lacks() string {
	var without []string
	for _, m := range r.Analysis.Models {
		if m.Survey[0] == nil && m.Survey[1] == nil {
			without = append(without, m.Model)
		}
	}
	if len(without) == 0 {
		return ""
	}
	of := "of " + strings.Join(without, ", ")
	if len(without) == len(r.Analysis.Models) {
		of = "in this study"
	}
	return "No position survey " + of + ": offsets in mm, and with them verdicts, are not known. " +
		"Record the headphone on the fixture displaced by known distances (forward_mm, up_mm in seatings.csv; 'asworn new' plans it), then run again. " +
		"What follows needs no survey."
}

// WriteSummary writes the sections as plain text that fits the columns of opt.
func (r *View) WriteSummary(w io.Writer, opt table.Options) error {
	width := opt.Columns()
	var b strings.Builder
	for _, s := range r.Sections() {
		b.WriteString(strings.Join(table.Wrap(s.Title, width), "\n") + "\n")
		for _, l := range s.Lines {
			for i, part := range table.Wrap(l.Text, width-4) {
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

func (r *View) fixtureSection(title string, acts ...judged.Action) Section {
	s := Section{Title: title, Verdicts: true}
	for _, f := range r.Seatings {
		for _, a := range acts {
			if f.Action == a {
				s.Lines = append(s.Lines, Line{Text: r.fixtureLine(f), Link: f.Verdict.ID, Tone: a.Tone()})
			}
		}
	}
	return s
}

// unsureSection lists the undetermined seatings, and after those of a model what
// would settle them.
func (r *View) unsureSection() Section {
	s := Section{Title: "Undetermined", Verdicts: true}
	var settle []fitcorr.Remedy
	model := ""
	tell := func() {
		if len(settle) > 0 {
			s.Lines = append(s.Lines, Line{Text: model + ": what would decide: " + strings.Join(words(settle), ", ") + "."})
		}
	}
	for _, f := range r.Seatings {
		if f.Action != judged.Undetermined {
			continue
		}
		if f.Model.Model != model {
			tell()
			settle, model = nil, f.Model.Model
		}
		for _, a := range f.Verdict.Settle {
			settle = addRemedy(settle, a)
		}
		s.Lines = append(s.Lines, Line{Text: r.fixtureLine(f), Link: f.Verdict.ID, Tone: f.Action.Tone()})
	}
	tell()
	return s
}

// nearestSection names, for a model without a seating to use, the one that is
// nearest by its best estimate: an operator has to go on from somewhere.
func (r *View) nearestSection() Section {
	s := Section{Title: "No fixture seating to use", Verdicts: true}
	best := make(map[string]*judged.Seating)
	var models []string
	for _, f := range r.Seatings {
		name := f.Model.Model
		b, seen := best[name]
		if !seen {
			models = append(models, name)
		}
		switch {
		case f.Action != judged.Use && f.Action != judged.Undetermined:
			best[name] = b
		case b == nil || f.Action == judged.Use || b.Action != judged.Use && f.Verdict.DistanceMM[0] < b.Verdict.DistanceMM[0]:
			best[name] = &f
		}
	}
	for _, name := range models {
		if b := best[name]; b != nil && b.Action == judged.Undetermined {
			s.Lines = append(s.Lines, Line{
				Text: name + ": nearest by its best estimate is seating " + strconv.Itoa(b.Verdict.Seating) +
					" (" + judged.DistanceWords(b.Verdict) + ").",
				Link: b.Verdict.ID, Tone: table.Unsure,
			})
		}
	}
	return s
}

func (r *View) fixtureLine(f judged.Seating) string {
	name := f.Model.Model + ", seating " + strconv.Itoa(f.Verdict.Seating) + ": "
	leak := judged.LeakWords(f.Verdict, f.Offset)
	switch f.Action {
	case judged.Use:
		return name + "sits as worn; " + leak + judged.WhySeal(f.Verdict) + "."
	case judged.Undetermined:
		return name + "the data do not tell whether it sits as worn (" + judged.DistanceWords(f.Verdict) + ")."
	}
	line := name + judged.MoveWords(f.Verdict, r.Options)
	if f.Action != judged.Move {
		line += " (" + leak + ")"
	}
	return line + "."
}

// standOutSection has one line per seating, whatever of it stands out: a leak is
// one thing, however many points, ears and bands show it.
func (r *View) standOutSection() Section {
	s := Section{Title: "Outliers: seatings unlike their own group"}
	var leaks []capture.Ear // of the seating that the last line speaks of, as others
	var others []string
	last := ""
	flush := func() {
		if len(s.Lines) == 0 || len(leaks)+len(others) == 0 {
			return
		}
		what := others
		if len(leaks) > 0 {
			what = append([]string{judged.LeakingWords(leaks)}, others...)
		}
		s.Lines[len(s.Lines)-1].Text += text.Join(what) + "."
		leaks, others = nil, nil
	}
	for _, o := range r.Analysis.StandOuts {
		if !o.Flagged || o.SameAs != "" {
			continue
		}
		if name := r.placement(o.ID); name != last {
			flush()
			last = name
			s.Lines = append(s.Lines, Line{Text: name + ": ", Link: o.ID, Tone: table.Unsure})
		}
		switch {
		case r.Analysis.Leaking(o) && !slices.Contains(leaks, o.Ear):
			leaks = append(leaks, o.Ear)
		case !r.Analysis.Leaking(o):
			others = append(others, judged.OutlierWords(o)+" (P "+text.Probability(o.P)+")")
		}
	}
	flush()
	return s
}

// placement calls a seating without the point at which it was recorded.
func (r *View) placement(id string) string {
	rec, ok := r.Recording(id)
	if !ok {
		return id
	}
	return text.OneLine(rec.Model + ", " + rec.Subject + ", seating " + strconv.Itoa(rec.Number))
}

func (r *View) refusedSection() Section {
	s := Section{Title: "Rejected recordings, kept out of every curve"}
	refusing := make([][]finding.Joint, len(r.Recordings))
	for i, rec := range r.Recordings {
		refusing[i] = slices.DeleteFunc(finding.ByCause(rec.Findings), func(f finding.Joint) bool { return f.Severity < capture.Refusal })
	}
	repeats := finding.NewRepeats(refusing)
	for i, rec := range r.Recordings {
		if rec.Usable {
			continue
		}
		var why []string
		show := len(refusing[i]) == 0
		for _, f := range refusing[i] {
			show = repeats.Show(f, rec.Row) || show
			why = append(why, text.OneLine(strings.TrimSuffix(f.Message, ".")))
		}
		if !show {
			continue
		}
		if len(why) == 0 {
			why = []string{"not usable"}
		}
		where := judged.NameOf(rec) + " (" + rec.File + "): "
		if rec.Row > 0 { // a recording that is judged at the fixture stands in no row
			where = "row " + strconv.Itoa(rec.Row) + ", " + where
		}
		s.Lines = append(s.Lines, Line{Text: where + text.Join(why) + ". Remedy: " + judged.MendWords(rec), Link: rec.File, Tone: table.Bad})
	}
	for _, more := range repeats.Rest() {
		s.Lines = append(s.Lines, Line{Text: more.String() + ", as row " + strconv.Itoa(more.Row) + ".", Tone: table.Bad})
	}
	return s
}

// changedSection names whom earlier studies know otherwise.
func (r *View) changedSection() Section {
	s := Section{Title: "Changed since earlier studies: look at these first"}
	for _, c := range r.PanelChanges {
		s.Lines = append(s.Lines, Line{Text: text.Sentence(c), Tone: table.Bad})
	}
	return s
}

func (r *View) cannotSection() Section {
	s := Section{Title: "Not decidable from this study"}
	for _, c := range r.Analysis.Cannot {
		s.Lines = append(s.Lines, Line{Text: text.Sentence(c)})
	}
	for _, m := range r.Analysis.Models {
		for _, c := range m.Cannot {
			s.Lines = append(s.Lines, Line{Text: m.Model + ": " + text.Sentence(c)})
		}
	}
	return s
}

func (r *View) noteSection() Section {
	s := Section{Title: "About the study as a whole"}
	for _, c := range r.Findings {
		s.Lines = append(s.Lines, Line{Text: text.Sentence(c)})
	}
	return s
}
