package position

import (
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/order"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// fixtureReading is a reading on the fixture less the position that is known
// without it.
type fixtureReading struct {
	row      int     // of the model's blocked seatings
	set      bool    // that position is a stated displacement, not where the levels place an ordinary seating
	worth    float64 // single readings
	less     [placing.ReadDim]float64
	variance [placing.ReadDim]float64 // of that position
}

// fixtureReadings gathers the readings on the fixture of one model: survey rows
// at their stated displacement if that is no turn, ordinary ones where their levels place
// them when those know it as well as a ruler does. stated is what a lab states of one
// reading, mm.
func (m *Model) fixtureReadings(stated capture.ReadingUncertainty) []fixtureReading {
	var out []fixtureReading
	for i, s := range m.Seatings {
		if !s.OnFixture() || s.Read == nil {
			continue
		}
		f := fixtureReading{row: i, worth: s.Readings()}
		var at [3]float64
		if f.set = s.Displaced(); f.set {
			at = s.Survey.Vector()
			if at[seat.Rotation] != 0 {
				continue // a turn moves the point that is read, nobody knows how far
			}
			for a := range placing.ReadDim {
				f.variance[a] = m.ruler[a] * m.ruler[a]
			}
		} else {
			head := m.Placed[i].Offset.Headset
			if m.Placed[i].Cov == nil || head.Cov[0][0]+head.Cov[1][1] > 2*stated.OneMM*stated.OneMM {
				continue
			}
			at = head.Value
			for a := range placing.ReadDim {
				f.variance[a] = head.Cov[a][a]
			}
		}
		for a, v := range placing.ReadVector(s) {
			f.less[a] = v - at[a]
		}
		out = append(out, f)
	}
	return out
}

// errorsOf are those of the fixture's readings, as of single ones, about their mean, mm². Those at
// positions that were set tell them; ordinary seatings, whose positions are less sure and of which one
// more must not weigh all readings of a study anew, only where too few others were read.
func errorsOf(readings []fixtureReading) (out []stats.Error) {
	set := slices.DeleteFunc(slices.Clone(readings), func(f fixtureReading) bool { return !f.set })
	if len(set) < placing.ReadFewest {
		set = readings
	}
	n := float64(len(set))
	for a := range placing.ReadDim {
		var mean float64
		for _, f := range set {
			mean += f.less[a] / n
		}
		for _, f := range set {
			d := f.less[a] - mean
			out = append(out, stats.Error{Square: f.worth * d * d * n / (n - 1), Variance: f.worth * f.variance[a]})
		}
	}
	return out
}

// ReadMarks sets the marks, mm, of all models that were read on the fixture. The
// error of one reading is pooled over models: what the lab states, and what the
// fixture's readings show. It returns what is stated with landmarks as much worse as
// the readings are (reading.Carry).
func ReadMarks(models []*Model, stated capture.ReadingUncertainty) capture.ReadingUncertainty {
	readings := make([][]fixtureReading, len(models))
	var errors []stats.Error // as of single readings
	for i, m := range models {
		readings[i] = m.withoutSlips(m.fixtureReadings(stated), stated)
		n := float64(len(readings[i]))
		if n < placing.ReadFewest {
			if n > 0 || m.readOnListeners() {
				m.note("read positions are not used: %d usable on the fixture, where at least %d are needed to compare with", len(readings[i]), placing.ReadFewest)
			}
			readings[i] = nil
			continue
		}
		errors = append(errors, errorsOf(readings[i])...)
	}
	one := stats.LearnSD(stated.OneMM, reading.StatedDF, errors)
	for i, m := range models {
		if len(readings[i]) == 0 {
			continue
		}
		mark := placing.Mark{One: one, Readings: len(readings[i])}
		for a := range placing.ReadDim {
			var weights float64
			for _, f := range readings[i] {
				w := 1 / (one*one/f.worth + f.variance[a])
				weights += w
				mark.At[a] += w * f.less[a]
			}
			mark.At[a] /= weights
			mark.Variance[a] = 1/weights + placing.ReadTurnMM*placing.ReadTurnMM
		}
		m.Mark = mark
		m.wornSlips()
	}
	return reading.Carry(stated, one)
}

func (m *Model) readOnListeners() bool {
	return slices.ContainsFunc(m.Seatings, func(s seat.Seating) bool { return !s.OnFixture() && s.Read != nil })
}

// withoutSlips leaves out fixture readings that no ruler explains: they are
// taken off their seatings and named.
func (m *Model) withoutSlips(readings []fixtureReading, stated capture.ReadingUncertainty) []fixtureReading {
	var middle [placing.ReadDim]float64
	for a := range middle {
		var x []float64
		for _, f := range readings {
			x = append(x, f.less[a])
		}
		middle[a] = order.Median(x)
	}
	return slices.DeleteFunc(readings, func(f fixtureReading) bool {
		for a := range middle {
			d := math.Abs(f.less[a] - middle[a])
			if d > placing.ReadGross*math.Sqrt(stated.OneMM*stated.OneMM+f.variance[a]) {
				m.slip(f.row, d, "the others on the fixture")
				return true
			}
		}
		return false
	})
}

func (m *Model) slip(row int, by float64, others string) {
	s := &m.Seatings[row]
	s.Read = nil
	m.note("seating %s: the position read there is %.0f mm from what %s say, and is not used: check the entry", s.ID, by, others)
}

// wornSlips takes worn readings that are far from the listener's others, or
// with fewer than three of those from the panel's, off their seatings and names
// them.
func (m *Model) wornSlips() {
	by := map[string][]int{}
	var all []int
	for i, s := range m.Seatings {
		if s.Worn() && s.Read != nil {
			by[s.Subject] = append(by[s.Subject], i)
			all = append(all, i)
		}
	}
	middle := func(rows []int, a int) float64 {
		var x []float64
		for _, j := range rows {
			x = append(x, placing.ReadVector(m.Seatings[j])[a])
		}
		return order.Median(x)
	}
	type slip struct {
		by     float64
		others string
	}
	found := map[int]slip{}
	for _, i := range all {
		s := m.Seatings[i]
		rows, others, limit := by[s.Subject], "the others of "+s.Subject, placing.ReadGross*math.Hypot(placing.ReadWithinMM, m.Mark.One)
		if len(rows) < 3 {
			rows, others, limit = all, "the others of the panel", placing.ReadGross*math.Hypot(placing.ReadBetweenMM, m.Mark.One)
		}
		for a, v := range placing.ReadVector(s) {
			if d := math.Abs(v - middle(rows, a)); len(rows) > 2 && d > limit {
				found[i] = slip{d, others}
			}
		}
	}
	for _, i := range all {
		if f, ok := found[i]; ok {
			m.slip(i, f.by, f.others)
		}
	}
}
