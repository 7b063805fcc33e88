package correct

import (
	"context"
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/workers"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/standout"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/verdict"
)

// FinalCurves makes the curves of one model from the fixture's ordinary
// seatings, per point and ear. Which seatings go in follows the verdicts: one
// that matches goes in as it is; one that is off goes in where its correction
// was applied over most of 1 kHz to 10 kHz, else stays out, as an undetermined one
// does; one that stands out of its group stays out unless it was corrected; without a
// verdict the rest go in. cs made the corrections. Every level carries an interval with an uncertainty budget after JCGM
// 100:2008 (docs/correction.md).
func FinalCurves(ss []seat.Seating, verdicts []verdict.Verdict, corrections []Correction, cs Correctors, standOuts []standout.StandOut, opt seat.Options) []FinalCurve {
	byNumber := map[int]verdict.Verdict{}
	for _, v := range verdicts {
		byNumber[v.Seating] = v
	}
	var out []FinalCurve
	var rowsOf [][]seat.Seating
	for _, point := range []capture.Point{capture.Blocked, capture.Drum} {
		var rows []seat.Seating
		for _, s := range ss {
			if s.OrdinaryOnFixture() && s.Point == point {
				rows = append(rows, s)
			}
		}
		if len(rows) == 0 {
			continue
		}
		for _, ear := range capture.Ears {
			out, rowsOf = append(out, FinalCurve{Point: point, Ear: ear}), append(rowsOf, rows)
		}
	}
	_ = workers.All(context.Background(), len(out), opt.Jobs, func(i int) { // ends with its work alone
		fc, rows := &out[i], rowsOf[i]
		ch := chooser{ear: fc.Ear, verdicts: byNumber, flagged: flaggedSeatings(ss, standOuts, fc.Ear), corrections: corrections}
		parts := ch.choose(rows, fc)
		fc.average(parts, int(fc.Ear))
		if fc.LevelDB != nil {
			fc.uncertainty(parts, rows, cs.of(fc.Point), int(fc.Ear), opt)
		}
	})
	return out
}

// flaggedSeatings maps the number of each fixture seating that stands out at
// either point to where it does.
func flaggedSeatings(ss []seat.Seating, standOuts []standout.StandOut, ear capture.Ear) map[int]standout.Band {
	numbers := map[string]int{}
	for _, s := range ss {
		if s.OrdinaryOnFixture() {
			numbers[s.ID] = s.Number
		}
	}
	out := map[int]standout.Band{}
	for _, so := range standOuts {
		if n, ok := numbers[so.ID]; ok && so.Flagged && so.Ear == ear {
			out[n] = so.Band
		}
	}
	return out
}

// part is one seating of those that a final curve is the mean of.
type part struct {
	s          seat.Seating
	correction *Correction // nil when it goes in as measured
}

// level returns the level of a part in band b.
func (p part) level(ear, b int) float64 {
	v := p.s.Ears[ear].LevelDB[b]
	if p.correction != nil && p.correction.Applied[b] {
		v += p.correction.DeltaDB[b]
	}
	return v
}

// chooser decides which seatings of one ear go into a curve.
type chooser struct {
	ear         capture.Ear
	verdicts    map[int]verdict.Verdict
	flagged     map[int]standout.Band
	corrections []Correction
}

// choose fills the members of a curve and returns those that go in.
func (ch chooser) choose(rows []seat.Seating, fc *FinalCurve) []part {
	var parts []part
	for _, s := range rows {
		m := CurveMember{ID: s.ID, Seating: s.Number}
		corr := ch.correctionOf(s)
		v, judged := ch.verdicts[s.Number]
		stands, flagged := ch.flagged[s.Number]
		leakOff := judged && (v.Ears[ch.ear].Seal == verdict.SealLeaks || v.Ears[ch.ear].Seal == verdict.SealTighter)
		switch {
		case judged && (v.Outcome == verdict.Move || v.Ears[ch.ear].Outcome == verdict.Move):
			m.Used, m.Corrected = covers(corr, 1000, 10000)
			switch {
			case m.Corrected:
				m.Why = "off its place; corrected to the worn mean"
			case m.Used:
				m.Why = "off its place, where the level hardly differs"
			default:
				m.Why = "off its place, and the correction to the worn mean is withheld"
			}
		case flagged:
			m.Why = fmt.Sprintf("outlier of its group (%s band)", stands)
		case judged && v.Outcome == verdict.Use:
			m.Used, m.Why = true, "matches the worn mean"
		case judged:
			m.Why = "undetermined: shown neither to sit as worn nor to be off its place"
		default:
			m.Used, m.Why = true, "ordinary seating; position not judged"
		}
		if m.Used && leakOff {
			if fine, applied := covers(corr, 20, 100); fine {
				m.Corrected = m.Corrected || applied
				m.Why += "; its seal corrected to the worn mean"
			} else {
				m.Used, m.Corrected = false, false
				m.Why = "seal unlike the worn one, and the correction to it is withheld"
			}
		}
		fc.Members = append(fc.Members, m)
		if m.Used {
			p := part{s: s}
			if m.Corrected {
				p.correction = corr
			}
			parts = append(parts, p)
		}
	}
	fc.Used = len(parts)
	for _, p := range parts {
		if p.correction != nil {
			fc.Corrected++
		}
	}
	if len(parts) == 0 {
		fc.Notes = append(fc.Notes, "no curve: no seating could be used as it is or corrected; seat the headphone again")
	}
	return parts
}

func (ch chooser) correctionOf(s seat.Seating) *Correction {
	for i := range ch.corrections {
		c := &ch.corrections[i]
		if c.ID == s.ID && c.Ear == ch.ear {
			return c
		}
	}
	return nil
}

// covers reports whether, of the bands between two frequencies in Hz, at least
// two thirds are corrected or need no correction worth speaking of, and
// whether any then is corrected.
func covers(c *Correction, from, to float64) (fine, applied bool) {
	if c == nil || c.PredictedDB == nil {
		return false, false
	}
	ok, n := 0, 0
	for b, f := range band.All() {
		if f.Mid < from || f.Mid > to {
			continue
		}
		n++
		if c.Applied[b] || math.Abs(c.PredictedDB[b]) < trifleDB {
			ok++
		}
		applied = applied || c.Applied[b]
	}
	fine = 3*ok >= 2*n
	return fine, fine && applied
}

// average fills level and spread. A band counts when it does in at least half
// of the parts.
func (fc *FinalCurve) average(parts []part, ear int) {
	if len(parts) == 0 {
		return
	}
	fc.LevelDB, fc.SpreadDB = make([]float64, band.Count), make([]float64, band.Count)
	fc.LowDB, fc.HighDB = make([]float64, band.Count), make([]float64, band.Count)
	fc.Valid = make([]bool, band.Count)
	for b := range fc.LevelDB {
		x := levelsAt(parts, ear, b)
		if len(x) == 0 || 2*len(x) < len(parts) {
			continue
		}
		fc.Valid[b] = true
		mean, sd := stats.MeanSD(x)
		fc.LevelDB[b] = mean
		if len(x) > 1 {
			fc.SpreadDB[b] = sd
		}
		low, high := math.Inf(1), math.Inf(-1)
		for _, v := range x {
			low, high = math.Min(low, v), math.Max(high, v)
		}
		fc.LowDB[b], fc.HighDB[b] = low, high
	}
}

// levelsAt returns the valid levels of the parts in band b.
func levelsAt(parts []part, ear, b int) []float64 {
	var x []float64
	for _, p := range parts {
		if p.s.Ears[ear].Counts(b) {
			x = append(x, p.level(ear, b))
		}
	}
	return x
}

// FinalCurve is the curve of one model at one point and ear from the fixture's
// seatings: slices per kept band. LevelDB is nil when no seating could be used.
type FinalCurve struct {
	Point   capture.Point `json:"point"`
	Ear     capture.Ear   `json:"ear"`
	Members []CurveMember `json:"members"` // every ordinary fixture seating, used or not
	Used    int           `json:"used"`
	// Corrected is how many of the used ones were corrected to the worn mean; the
	// others go in as measured.
	Corrected int       `json:"corrected"`
	LevelDB   []float64 `json:"level_db,omitempty"` // mean of the used ones, corrected where Corrected says so
	// SpreadDB is the standard deviation over the used seatings; LowDB and
	// HighDB their extremes.
	SpreadDB []float64 `json:"spread_db,omitempty"`
	LowDB    []float64 `json:"low_db,omitempty"`
	HighDB   []float64 `json:"high_db,omitempty"`
	Valid    []bool    `json:"valid,omitempty"`
	// StdErrDB is the combined standard uncertainty of LevelDB, HalfDB the
	// half-width of its interval at the study's confidence.
	StdErrDB []float64   `json:"stderr_db,omitempty"`
	HalfDB   []float64   `json:"half_db,omitempty"`
	Budget   []BudgetRow `json:"budget,omitempty"`
	Notes    []string    `json:"notes,omitempty"` // what the interval does not hold, in plain words
}

// Level is the curve with its interval; empty without one.
func (fc FinalCurve) Level() seat.Level {
	return seat.NewLevel(len(fc.LevelDB), func(b int) (float64, float64, bool) {
		if b >= len(fc.Valid) || !fc.Valid[b] || b >= len(fc.HalfDB) {
			return 0, 0, false
		}
		return fc.LevelDB[b], fc.HalfDB[b], true
	})
}

// MadeOf says what the curve is the mean of: "3 seatings at the drum reference point, left
// ear: 2 as measured, 1 corrected to the worn mean; 3 of 6 left out".
func (fc FinalCurve) MadeOf() string {
	plural := "s"
	if fc.Used == 1 {
		plural = ""
	}
	what := fmt.Sprintf("%d seating%s at the %s, %s ear", fc.Used, plural, fc.Point.Words(), fc.Ear)
	switch measured := fc.Used - fc.Corrected; {
	case fc.Used == 0:
	case fc.Corrected == 0:
		what += ": as measured"
	case measured == 0:
		what += ": corrected to the worn mean"
	default:
		what += fmt.Sprintf(": %d as measured, %d corrected to the worn mean", measured, fc.Corrected)
	}
	if out := len(fc.Members) - fc.Used; out > 0 {
		what += fmt.Sprintf("; %d of %d left out", out, len(fc.Members))
	}
	return what
}

// CurveMember says whether a seating went into a final curve, and why.
type CurveMember struct {
	ID        string `json:"id"`
	Seating   int    `json:"seating"`
	Used      bool   `json:"used"`
	Corrected bool   `json:"corrected"`
	Why       string `json:"why"`
}

// BudgetRow is one source of uncertainty of a final curve (JCGM 100:2008),
// per third-octave band; the last row is the combination.
type BudgetRow struct {
	Source string     `json:"source"`
	Type   Evaluation `json:"type"`
	StdDB  []float64  `json:"std_db"`
	DF     []float64  `json:"df"` // degrees of freedom; 0 = so many that they do not matter
}

// Evaluation is how a standard uncertainty was evaluated (JCGM 100:2008, 0.7).
type Evaluation string

// The two types of evaluation, and the combination of a whole budget.
const (
	TypeA    Evaluation = "A" // statistics of this study
	TypeB    Evaluation = "B" // otherwise
	Combined Evaluation = "combined"
)

// RMS is the root mean square of the row over the third octaves hz from low to
// high, dB; ok is false when none lies there.
func (b BudgetRow) RMS(hz []float64, low, high float64) (db float64, ok bool) {
	var sum float64
	n := 0
	for i, f := range hz {
		if i < len(b.StdDB) && f > low*0.95 && f < high*1.05 {
			sum += b.StdDB[i] * b.StdDB[i]
			n++
		}
	}
	return math.Sqrt(sum / float64(n)), n > 0
}
