// Package plan lays out the seatings of a new study in the order in which they
// are recorded.
package plan

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"unicode"

	"asworn/capture"
	"asworn/capture/study"
)

// Design says what a study is to hold.
type Design struct {
	Models    []string // two or more let the panel tell ear from position
	Listeners int      // L01, L02 …
	Seatings  int      // of each model on each listener
	Fixture   int      // ordinary seatings of each model on the fixture
	Survey    bool     // a position survey of each model on the fixture, at each point that is recorded there
	// Displaced positions of that survey: the first so many of Displacements, LeastSurvey
	// or more; 0 for all of them.
	Displacements int
	Repeats       int  // of each displacement of the survey
	Displaced     int  // listeners who also wear each model displaced on purpose
	BareEar       bool // a bare-ear reference of each subject
	Drum          bool // the drum reference point too: ordinary fixture seatings and the survey
	// OnePlacement says that the fixture allows both points in one placement; a
	// plug at the entrance shuts the canal, so as a rule each point has placements of its own.
	OnePlacement bool
	Readings     int // of each placement with a ruler
	Seed         uint64
}

// Default returns the design that the accuracy figures of docs/developing/accuracy.md
// were found for: eight listeners, five seatings, six on the fixture, survey
// and bare-ear references.
func Default() Design {
	return Design{Listeners: 8, Seatings: 5, Fixture: 6, Survey: true, Repeats: 1, BareEar: true, Drum: true, Readings: 1, Seed: 1}
}

// Validate reports what is wrong with a design.
func (d Design) Validate() error {
	switch {
	case len(d.Models) == 0:
		return fmt.Errorf("no model named")
	case d.Listeners < 0 || d.Listeners > 999:
		return fmt.Errorf("%d listeners: want 0 to 999", d.Listeners)
	case d.Seatings < 1 || d.Seatings > 99:
		return fmt.Errorf("%d seatings: want 1 to 99", d.Seatings)
	case d.Fixture < 0 || d.Fixture > 99:
		return fmt.Errorf("%d fixture seatings: want 0 to 99", d.Fixture)
	case d.Displacements != 0 && (d.Displacements < LeastSurvey || d.Displacements > len(Displacements())):
		return fmt.Errorf("%d displacements: want %d to %d", d.Displacements, LeastSurvey, len(Displacements()))
	case d.Repeats < 1 || d.Repeats > 9:
		return fmt.Errorf("%d survey repeats: want 1 to 9", d.Repeats)
	case d.Readings < 0 || d.Readings > 20:
		return fmt.Errorf("%d readings: want 0 to 20", d.Readings)
	case d.Displaced < 0 || d.Displaced > d.Listeners:
		return fmt.Errorf("%d displaced listeners: want 0 to the %d listeners there are", d.Displaced, d.Listeners)
	}
	seen := map[string]string{}
	for _, m := range d.Models {
		s := Slug(m)
		if s == "" {
			return fmt.Errorf("model %q: a name needs a letter or a digit", m)
		}
		if other, ok := seen[s]; ok {
			return fmt.Errorf("models %q and %q would share their file names", other, m)
		}
		seen[s] = m
	}
	return nil
}

// LeastSurvey is how many displacements a survey has at least: the mark, and two
// steps each way, which tell slopes and curvatures.
const LeastSurvey = 9

// Displacements returns the survey that a plan proposes, what tells the most first: the
// marked position, forward and up at ±4 mm and ±8 mm alone (LeastSurvey), ±6 mm
// together, the mark again, rotations alone and with a displacement, and ±4 mm together. The
// first thirteen are a central composite design (Box & Wilson, J. R. Stat. Soc. B 13(1), 1951)
// stretched over ±8 mm, so that slopes, curvatures and the forward-up interaction are all told
// apart; the last four fill what lies between (docs/developing/proving.md has what they gain).
func Displacements() []capture.Displacement {
	return []capture.Displacement{
		{},
		{ForwardMM: 4}, {ForwardMM: -4}, {ForwardMM: 8}, {ForwardMM: -8},
		{UpMM: 4}, {UpMM: -4}, {UpMM: 8}, {UpMM: -8},
		{ForwardMM: 6, UpMM: 6}, {ForwardMM: 6, UpMM: -6}, {ForwardMM: -6, UpMM: 6}, {ForwardMM: -6, UpMM: -6},
		{},
		{RotationDeg: 8}, {RotationDeg: -8},
		{ForwardMM: 4, RotationDeg: 5}, {UpMM: 4, RotationDeg: -5},
		{ForwardMM: 4, UpMM: 4}, {ForwardMM: 4, UpMM: -4}, {ForwardMM: -4, UpMM: 4}, {ForwardMM: -4, UpMM: -4},
	}
}

// surveyed are the displacements of the survey.
func (d Design) surveyed() []capture.Displacement {
	all := Displacements()
	if d.Displacements > 0 {
		all = all[:d.Displacements]
	}
	return all
}

// SurveyRows is how many rows the survey of one model has at each point.
func (d Design) SurveyRows() int {
	if !d.Survey {
		return 0
	}
	return len(d.surveyed()) * d.Repeats
}

// Pilot makes a design as small as gives a verdict: one listener, whom the operator may
// be, one ordinary seating on the fixture and LeastSurvey displacements, at the
// blocked entrance alone, nothing read. It tells gross misplacement.
func (d Design) Pilot() Design {
	d.Listeners, d.Seatings, d.Fixture, d.Displaced, d.Readings = 1, 2, 1, 0, 0
	d.Survey, d.Displacements, d.Repeats, d.BareEar, d.Drum = true, LeastSurvey, 1, false, false
	return d
}

// OnListener returns the deliberate displacements on a listener, from where the
// listener wears the headphone: enough for a slope forward and up, and few,
// since somebody sits under them.
func OnListener() []capture.Displacement {
	return []capture.Displacement{{ForwardMM: 4}, {ForwardMM: -4}, {UpMM: 4}, {UpMM: -4}}
}

// Rows returns the rows of the plan in recording order: the fixture's
// session first (it needs nobody), then one session per listener. The order of
// models is drawn anew in each round, and that of the survey's displacements
// as a whole, so that drift does not look like a model or a position (a
// randomised block design). The same design and seed give the same rows.
func (d Design) Rows() ([]capture.Seating, error) {
	if err := d.Validate(); err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(d.Seed, 0x73656174)) // "seat": apart from other uses of the seed
	var rows []capture.Seating
	add := func(s capture.Seating, parts ...string) {
		s.File = "recordings/" + strings.Join(parts, "-") + ".wav"
		s.Row = len(rows) + 2
		rows = append(rows, s)
	}
	bareEar := func(subject string) {
		if d.BareEar {
			add(capture.Seating{Subject: subject, Point: capture.Blocked, Number: 1}, subject, "bare-ear")
		}
	}
	bareEar(capture.FixtureSubject)
	last := make([]int, len(d.Models)) // number given last, per model
	for _, points := range d.sessions() {
		for n := 1; n <= d.Fixture; n++ {
			for _, i := range rng.Perm(len(d.Models)) {
				last[i]++
				for _, p := range points {
					add(capture.Seating{Model: d.Models[i], Subject: capture.FixtureSubject, Point: p, Number: last[i]},
						capture.FixtureSubject, Slug(d.Models[i]), fmt.Sprintf("%02d", last[i]), string(p))
				}
			}
		}
		if !d.Survey {
			continue
		}
		for m, model := range d.Models {
			for range d.Repeats {
				all := d.surveyed()
				for _, i := range rng.Perm(len(all)) {
					last[m]++
					for _, p := range points {
						where := all[i]
						add(capture.Seating{Model: model, Subject: capture.FixtureSubject, Point: p, Number: last[m], Survey: &where},
							capture.FixtureSubject, Slug(model), fmt.Sprintf("%02d", last[m]), "survey", string(p))
					}
				}
			}
		}
	}
	for l := 1; l <= d.Listeners; l++ {
		subject := fmt.Sprintf("L%02d", l)
		bareEar(subject)
		for n := 1; n <= d.Seatings; n++ {
			for _, i := range rng.Perm(len(d.Models)) {
				add(capture.Seating{Model: d.Models[i], Subject: subject, Point: capture.Blocked, Number: n},
					subject, Slug(d.Models[i]), fmt.Sprintf("%02d", n))
			}
		}
		if l > d.Displaced {
			continue
		}
		for _, model := range d.Models {
			all := OnListener()
			for k, i := range rng.Perm(len(all)) {
				where, number := all[i], d.Seatings+1+k
				add(capture.Seating{Model: model, Subject: subject, Point: capture.Blocked, Number: number, Survey: &where},
					subject, Slug(model), fmt.Sprintf("%02d", number), "displaced")
			}
		}
	}
	return rows, nil
}

// sessions are the points that are recorded together on the fixture: one after the
// other, so that the plugs go in and out once, unless one placement serves both.
func (d Design) sessions() [][]capture.Point {
	switch {
	case !d.Drum:
		return [][]capture.Point{{capture.Blocked}}
	case d.OnePlacement:
		return [][]capture.Point{{capture.Blocked, capture.Drum}}
	}
	return [][]capture.Point{{capture.Blocked}, {capture.Drum}}
}

// FixtureFindings is how often a plan with readings has the fixture's canal entrance found: its error is
// in every comparison with people, and it is the largest of them where it was found once
// (docs/developing/proving.md). Two people twice each (our choice, no source).
const FixtureFindings = 4

// ReadingRows returns the rows of a readings.csv to fill in: FixtureFindings, and
// d.Readings for each placement in the order of the rows, left and right in turn. One reading per
// placement has its columns in the sheet. Without readings there are no rows.
func (d Design) ReadingRows(rows []capture.Seating) (out []study.ReadingRow) {
	if d.Readings < 1 {
		return nil
	}
	for range FixtureFindings {
		out = append(out, study.ReadingRow{Subject: capture.FixtureSubject})
	}
	if d.Readings < 2 {
		return out
	}
	type placement struct {
		subject, model string
		number         int
	}
	seen := map[placement]bool{}
	for _, r := range rows {
		p := placement{r.Subject, r.Model, r.Number}
		if r.Model == "" || seen[p] {
			continue
		}
		seen[p] = true
		for k := range d.Readings {
			out = append(out, study.ReadingRow{Subject: r.Subject, Model: r.Model, Number: r.Number, Side: study.LeftSide + study.Side(k%2)})
		}
	}
	return out
}

// Slug makes a name fit for files on every system.
func Slug(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r < unicode.MaxASCII && (unicode.IsLetter(r) || unicode.IsDigit(r)):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.TrimSuffix(b.String(), "-")
}
