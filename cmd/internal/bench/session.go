// Package bench records a study at the bench: it walks the plan, plays and
// records each row, keeps every take, has it judged at once and holds to what is
// safe. What it shows and hears is for others: the terminal and the page.
package bench

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"asworn/capture"
)

// Phase is what the session is doing.
type Phase int

// The phases of a row.
const (
	Ready    Phase = iota // shows the row and waits
	Caution               // waits until the cautions are confirmed
	Playing               // plays and records
	Judging               // the take is kept and being judged
	Judged                // shows what came of it
	Finished              // no row is left
)

// String returns the phase in one word.
func (p Phase) String() string {
	return [...]string{"ready", "caution", "playing", "judging", "judged", "finished"}[p]
}

// Row is one row of the plan.
type Row struct {
	capture.Seating
	Recorded bool
	Skipped  bool // in this session: it comes again at the end
	Rejected bool // its recording: it comes again before those
	Planned  bool // it stands in the sheet
}

// Session is where the operator is in the plan: a value that each event turns
// into the next. It knows no sound and no disk.
type Session struct {
	Rows  []Row
	At    int // the row that is shown; len(Rows) when there is none
	Phase Phase
	Keep  bool // of the take that was judged
	// One is the model of which one fixture seating after the other is recorded,
	// outside the plan; empty to walk the plan.
	One string
}

// Key is what the operator asks for.
type Key int

// The keys. Confirm says that the cautions were read; Next leaves a row as it is,
// whatever was said of it; Again records the row that was just judged once more.
const (
	Enter Key = iota
	Confirm
	Next
	Again
	Back
	Skip
	Repeat // one more seating of the row that is shown
	Drop   // take the row out of the plan
	Other  // any other key
)

// Act is what has to be done after an event.
type Act int

// The acts.
const (
	Nothing Act = iota
	Play        // the row that is shown
	Silence     // at once
	AddRow      // a row like the one that is shown; tell Added
	DropRow     // the one that is shown; tell Dropped
)

// NewSession begins at the first row that is not recorded.
func NewSession(rows []Row) Session {
	s := Session{Rows: rows, At: -1}
	return s.next()
}

// Row returns the row that is shown; ok is false when there is none.
func (s Session) Row() (row Row, ok bool) {
	if s.At < 0 || s.At >= len(s.Rows) {
		return Row{}, false
	}
	return s.Rows[s.At], true
}

// before is the recording behind whose row a new one belongs in the sheet, empty when
// that does not matter.
func (s Session) before(file string) string {
	for i, r := range s.Rows {
		if r.File == file && i > 0 && s.Rows[i-1].Planned {
			return s.Rows[i-1].File
		}
	}
	return ""
}

// next goes to the next row that is not recorded: after this one, then from the
// start, then those whose recording was rejected, then those that were skipped.
func (s Session) next() Session {
	n := len(s.Rows)
	for _, wanted := range []func(Row) bool{
		func(r Row) bool { return !r.Recorded && !r.Skipped },
		func(r Row) bool { return r.Rejected && !r.Skipped },
		func(r Row) bool { return !r.Recorded || r.Rejected },
	} {
		for k := 1; k <= n; k++ {
			i := (max(s.At, -1) + k) % n
			if wanted(s.Rows[i]) {
				s.At, s.Phase = i, Ready
				return s
			}
		}
	}
	s.At, s.Phase = n, Finished
	return s
}

// Press is the operator's key. cautions says whether they were confirmed in this
// session.
func (s Session) Press(k Key, cautions bool) (Session, Act) {
	row, ok := s.Row()
	switch s.Phase {
	case Playing:
		return s, Silence // any key
	case Judging:
		return s, Nothing
	case Caution:
		if k == Confirm || k == Back || k == Skip {
			s.Phase = Ready
		}
		if k == Confirm {
			return s, Nothing
		}
	}
	switch k {
	case Enter:
		switch {
		case s.Phase == Judged && s.One != "" && s.Keep:
			return s, AddRow
		case s.Phase == Judged && s.Keep:
			return s.next(), Nothing
		case s.Phase == Judged:
			s.Phase = Ready
		case s.Phase == Ready && ok && !row.OnFixture() && !cautions:
			s.Phase = Caution
		case s.Phase == Ready && ok:
			s.Phase = Playing
			return s, Play
		}
	case Again:
		if s.Phase == Judged {
			s.Phase = Ready
		}
	case Next:
		if s.Phase == Judged && s.One != "" {
			return s, AddRow
		}
		if s.Phase == Judged || s.Phase == Ready && row.Rejected {
			s.Rows = slices.Clone(s.Rows)
			s.Rows[s.At].Rejected = false
			return s.next(), Nothing
		}
	case Back:
		if s.At > 0 {
			s.At, s.Phase = s.At-1, Ready
		}
	case Skip:
		if ok && s.One == "" {
			if !row.Recorded || row.Rejected {
				s.Rows = slices.Clone(s.Rows)
				s.Rows[s.At].Skipped = true
			}
			return s.next(), Nothing
		}
	case Repeat:
		if ok && row.Model != "" {
			return s, AddRow
		}
	case Drop:
		if ok && !row.Recorded && s.Phase == Ready {
			return s, DropRow
		}
	}
	return s, Nothing
}

// Heard tells that the sound is over: kept is whether there is a whole take.
func (s Session) Heard(kept bool) Session {
	s.Phase = Ready
	if kept {
		s.Rows = slices.Clone(s.Rows)
		s.Rows[s.At].Recorded, s.Rows[s.At].Skipped, s.Rows[s.At].Planned = true, false, true
		s.Phase = Judging
	}
	return s
}

// Judge tells what came of the take.
func (s Session) Judge(keep bool) Session {
	s.Rows = slices.Clone(s.Rows)
	s.Rows[s.At].Rejected = !keep
	s.Phase, s.Keep = Judged, keep
	return s
}

// Added shows a new row behind the one that was shown.
func (s Session) Added(r Row) Session {
	at := min(s.At+1, len(s.Rows))
	s.Rows = slices.Insert(slices.Clone(s.Rows), max(at, 0), r)
	s.At, s.Phase = max(at, 0), Ready
	return s
}

// Dropped goes on without the row that was shown.
func (s Session) Dropped() Session {
	s.Rows = slices.Delete(slices.Clone(s.Rows), s.At, s.At+1)
	s.At--
	return s.next()
}

// Replanned goes on with the plan as it is now, at the row that was shown where it is still
// there.
func (s Session) Replanned(rows []Row) Session {
	shown, ok := s.Row()
	rows = slices.Clone(rows)
	for i := range rows {
		if at := s.index(rows[i].File); at >= 0 {
			rows[i].Skipped, rows[i].Rejected = s.Rows[at].Skipped, s.Rows[at].Rejected && rows[i].Recorded
		}
	}
	if ok && !shown.Planned { // one that comes into the sheet with its recording
		rows = append(rows, shown)
	}
	s.Rows = rows
	if at := s.index(shown.File); ok && at >= 0 {
		s.At = at
		return s
	}
	s.At = min(s.At, len(rows)) - 1
	return s.next()
}

// index is where the row of a recording stands; -1 where there is none.
func (s Session) index(file string) int {
	return slices.IndexFunc(s.Rows, func(r Row) bool { return r.File == file })
}

// left are the rows that are not recorded, or not well.
func (s Session) left() []capture.Seating {
	var out []capture.Seating
	for _, r := range s.Rows {
		if !r.Recorded || r.Rejected {
			out = append(out, r.Seating)
		}
	}
	return out
}

// Left is how many they are.
func (s Session) Left() int { return len(s.left()) }

// Title says in words which row is shown.
func (s Session) Title() string {
	r, ok := s.Row()
	if !ok {
		return "No row is left."
	}
	head := fmt.Sprintf("Row %d of %d: ", s.At+1, len(s.Rows))
	if s.One != "" {
		head = ""
	}
	return head + Words(r.Seating)
}

// Words says in words what a row asks for.
func Words(r capture.Seating) string {
	where := r.Subject
	if r.OnFixture() {
		where = "the fixture"
	}
	if r.Model == "" {
		at := ""
		if r.Loudspeaker != "" {
			at = " at " + r.Loudspeaker
		}
		return fmt.Sprintf("bare ear of %s, loudspeaker%s, no headphone", where, at)
	}
	out := fmt.Sprintf("%s on %s, seating %d", strings.TrimSpace(r.Model+" "+r.Unit), where, r.Number)
	if r.OnFixture() {
		out += ", " + map[capture.Point]string{capture.Blocked: "blocked ear-canal entrance", capture.Drum: "ear simulator"}[r.Point]
	}
	if d := r.Survey; d != nil {
		var moves []string
		for _, m := range []struct {
			v        float64
			unit     string
			up, down string
		}{{d.ForwardMM, "mm", "forward", "back"}, {d.UpMM, "mm", "up", "down"}, {d.RotationDeg, "°", "turned to the nose", "turned to the back"}} {
			switch {
			case m.v > 0:
				moves = append(moves, fmt.Sprintf("%g %s %s", m.v, m.unit, m.up))
			case m.v < 0:
				moves = append(moves, fmt.Sprintf("%g %s %s", -m.v, m.unit, m.down))
			}
		}
		if len(moves) == 0 {
			moves = []string{"at the mark"}
		}
		out += ": " + strings.Join(moves, ", ")
	}
	if r.Seal != "" {
		out += ", " + r.Seal
	}
	return out
}

// planRows are the rows of the sheet, in its order.
func planRows(st *capture.Study) []Row {
	var rows []Row
	for _, s := range st.Seatings {
		rows = append(rows, Row{Seating: s, Recorded: true, Planned: true})
	}
	for _, s := range st.NotRecorded {
		rows = append(rows, Row{Seating: s, Planned: true})
	}
	slices.SortStableFunc(rows, func(a, b Row) int { return cmp.Compare(a.Seating.Row, b.Seating.Row) })
	return rows
}
