// Package between compares what several fixtures say of the same headphones on
// the same panel: what differs as measured, what is left once position and seal
// are taken out, and what is left between each fixture and people. It knows
// final curves and levels, not how they were estimated.
package between

import (
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/correct"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
	"asworn/fitcorr/stats"
)

// Fixture is what was found of one model on one fixture. Slices over bands have
// band.Count values.
type Fixture struct {
	Name    string
	Coupler string // as study.toml states it; "" when it does not
	// ReferenceDB is the fixture's own reference, slope included, dB; nil for none.
	ReferenceDB []float64
	Seatings    []seat.Seating // the usable ordinary ones on the fixture
	Curves      []correct.FinalCurve
	Sensitivity []sensitivity.Sensitivity
}

// Difference is first minus second fixture at one point and ear. Slices have
// band.Thirds values and follow band.AllThirds; a third that is not Valid holds 0.
type Difference struct {
	Point  capture.Point `json:"point"`
	Ear    capture.Ear   `json:"ear"`
	First  string        `json:"first"`
	Second string        `json:"second"`
	// MeasuredDB is of the means of the ordinary seatings as they were measured,
	// FinalDB of the final curves: seatings that sit as worn, or were corrected to; nil
	// where one of the fixtures has no such seating.
	MeasuredDB []float64 `json:"measured_db"`
	FinalDB    []float64 `json:"final_db,omitempty"`
	// HalfDB is half the interval of FinalDB, from the two uncertainty budgets as
	// if they shared nothing; the panel that they share makes it too wide. Nil without FinalDB.
	HalfDB []float64 `json:"half_db,omitempty"`
	// CompensatedDB is of the final curves, each less its own reference; nil
	// unless both have both.
	CompensatedDB []float64 `json:"compensated_db,omitempty"`
	Valid         []bool    `json:"valid"`
	// MeasuredRMS and FinalRMS are over the valid thirds from 50 Hz to 10 kHz, dB.
	MeasuredRMS    float64 `json:"measured_rms_db"`
	FinalRMS       float64 `json:"final_rms_db"`
	CompensatedRMS float64 `json:"compensated_rms_db,omitempty"`
	// Explained is how much of the mean square of MeasuredDB position and seal
	// explain: 1 − (FinalRMS/MeasuredRMS)², 0 when nothing.
	Explained float64 `json:"explained"`
	// Apart is how many of the valid thirds from 50 Hz to 10 kHz differ by more
	// than chance does, with the study's confidence for all of them together
	// (Bonferroni); Compared is how many there are.
	Apart    int `json:"apart"`
	Compared int `json:"compared"`
	// Alike says that both fixtures are declared to have the same coupler: then
	// they should agree (common practice, no source).
	Alike bool `json:"alike"`
}

// range of frequencies over which figures are summed up, Hz.
const lowHz, highHz = 49, 10100

// Compare returns first minus second for every point and ear of which both have
// ordinary seatings, without FinalDB where one has no final curve.
func Compare(first, second Fixture, confidence float64) []Difference {
	var out []Difference
	for _, a := range first.Curves {
		for _, b := range second.Curves {
			if a.Point != b.Point || a.Ear != b.Ear {
				continue
			}
			d := Difference{Point: a.Point, Ear: a.Ear, First: first.Name, Second: second.Name,
				Alike: first.Coupler != "" && first.Coupler == second.Coupler}
			d.measure(curves(first, a), curves(second, b))
			if a.LevelDB != nil && b.LevelDB != nil && uncertainty(a) != nil && uncertainty(b) != nil {
				d.settle(first, second, a, b, confidence)
			}
			if slices.Contains(d.Valid, true) {
				out = append(out, d)
			}
		}
	}
	return out
}

// measure sets what the seatings differ by as they were measured.
func (d *Difference) measure(first, second []seat.Curve) {
	d.MeasuredDB, d.Valid = make([]float64, band.Thirds), make([]bool, band.Thirds)
	for t := range d.Valid {
		a, okA := meanThird(first, t)
		b, okB := meanThird(second, t)
		if okA && okB {
			d.MeasuredDB[t], d.Valid[t] = a-b, true
		}
	}
	d.MeasuredRMS = rms(d.MeasuredDB, d.Valid)
}

// settle sets what is left of it between the final curves; thirds that count in both
// stay valid.
func (d *Difference) settle(first, second Fixture, a, b correct.FinalCurve, confidence float64) {
	d.FinalDB, d.HalfDB = make([]float64, band.Thirds), make([]float64, band.Thirds)
	compensated := first.ReferenceDB != nil && second.ReferenceDB != nil
	if compensated {
		d.CompensatedDB = make([]float64, band.Thirds)
	}
	ua, ub := uncertainty(a), uncertainty(b)
	var told []float64 // |difference| over its standard uncertainty, degrees of freedom
	var freedom []float64
	for t := range d.Valid {
		fa, okA := third(a.LevelDB, a.Valid, t)
		fb, okB := third(b.LevelDB, b.Valid, t)
		if !okA || !okB || !d.Valid[t] {
			d.MeasuredDB[t], d.Valid[t] = 0, false
			continue
		}
		d.FinalDB[t] = fa - fb
		v1, v2 := ua.StdDB[t]*ua.StdDB[t], ub.StdDB[t]*ub.StdDB[t]
		df := stats.PooledDF(v1, ua.DF[t], v2, ub.DF[t])
		d.HalfDB[t] = stats.Coverage(confidence, df) * math.Sqrt(v1+v2)
		if compensated {
			ra, _ := third(first.ReferenceDB, nil, t)
			rb, _ := third(second.ReferenceDB, nil, t)
			d.CompensatedDB[t] = fa - ra - (fb - rb)
		}
		if summed(t) && v1+v2 > 0 {
			told, freedom = append(told, math.Abs(fa-fb)/math.Sqrt(v1+v2)), append(freedom, df)
		}
	}
	d.Compared = len(told)
	for i, z := range told {
		if z > stats.Coverage(1-(1-confidence)/float64(len(told)), freedom[i]) {
			d.Apart++
		}
	}
	d.MeasuredRMS, d.FinalRMS = rms(d.MeasuredDB, d.Valid), rms(d.FinalDB, d.Valid)
	if compensated {
		d.CompensatedRMS = rms(d.CompensatedDB, d.Valid)
	}
	if d.MeasuredRMS > 0 {
		d.Explained = math.Max(0, 1-math.Pow(d.FinalRMS/d.MeasuredRMS, 2))
	}
}

// FromPeople is a fixture minus the panel's worn mean at the blocked entrance,
// per third octave, once position and seal are taken out: what of the fixture's
// bias is neither. Slices as in Difference.
type FromPeople struct {
	Fixture string      `json:"fixture"`
	Ear     capture.Ear `json:"ear"`
	// MeasuredDB is fixture minus worn as measured, LeftDB what is left of it; nil
	// where no seating on the fixture sits as worn or could be corrected to.
	MeasuredDB []float64 `json:"measured_db"`
	LeftDB     []float64 `json:"left_db,omitempty"`
	// HalfDB is half its interval, from the bias's and the final curve's budgets
	// as if they shared nothing; nil without LeftDB.
	HalfDB []float64 `json:"half_db,omitempty"`
	Valid  []bool    `json:"valid"`
	// BiasRMS is of MeasuredDB, LeftRMS of LeftDB; dB, over the valid thirds from 50 Hz to 10 kHz.
	BiasRMS float64 `json:"bias_rms_db"`
	LeftRMS float64 `json:"left_rms_db"`
}

// People returns what is left between a fixture and people at each ear, without LeftDB
// where there is no final curve at the blocked entrance. Slices are over third octaves,
// dB; confidence is a probability, 0 to 1. Nil without worn seatings to compare with.
func People(f Fixture, confidence float64) []FromPeople {
	var out []FromPeople
	for _, c := range f.Curves {
		if c.Point != capture.Blocked {
			continue
		}
		measured := curves(f, c)
		for _, s := range f.Sensitivity {
			if s.Point != c.Point || s.Ear != c.Ear || s.BiasDB == nil {
				continue
			}
			p := FromPeople{Fixture: f.Name, Ear: c.Ear, MeasuredDB: make([]float64, band.Thirds), Valid: make([]bool, band.Thirds)}
			u := uncertainty(c)
			known := c.LevelDB != nil && u != nil
			if known {
				p.LeftDB, p.HalfDB = make([]float64, band.Thirds), make([]float64, band.Thirds)
			}
			for t := range p.Valid {
				final, okA := third(c.LevelDB, c.Valid, t)
				mean, okB := meanThird(measured, t)
				if known && !okA || !okB || !s.BiasCounts(t) {
					continue
				}
				p.Valid[t] = true
				p.MeasuredDB[t] = s.BiasDB[t]
				if known {
					p.LeftDB[t] = s.BiasDB[t] + final - mean // fixture − worn, with the fixture moved to where it is worn
					p.HalfDB[t] = math.Hypot(s.BiasHalf(t, confidence), stats.Coverage(confidence, u.DF[t])*u.StdDB[t])
				}
			}
			p.BiasRMS = rms(p.MeasuredDB, p.Valid)
			if known {
				p.LeftRMS = rms(p.LeftDB, p.Valid)
			}
			if slices.Contains(p.Valid, true) {
				out = append(out, p)
			}
		}
	}
	return out
}

// curves are the ordinary seatings of the fixture at the point and ear of a
// final curve.
func curves(f Fixture, c correct.FinalCurve) []seat.Curve {
	var out []seat.Curve
	for _, s := range f.Seatings {
		if s.OrdinaryOnFixture() && s.Point == c.Point {
			out = append(out, s.Ears[c.Ear])
		}
	}
	return out
}

// uncertainty is the combined row of a curve's budget, nil when it has none.
func uncertainty(c correct.FinalCurve) *correct.BudgetRow {
	if len(c.Budget) == 0 {
		return nil
	}
	return &c.Budget[len(c.Budget)-1]
}

// third is the mean of the levels of a third octave, all of which must count; nil
// for valid means that they do.
func third(level []float64, valid []bool, t int) (float64, bool) {
	const per = band.Count / band.Thirds
	sum := 0.0
	for i := t * per; i < (t+1)*per; i++ {
		if i >= len(level) || valid != nil && (i >= len(valid) || !valid[i]) {
			return 0, false
		}
		sum += level[i] / per
	}
	return sum, true
}

func meanThird(of []seat.Curve, t int) (float64, bool) {
	sum, n := 0.0, 0.0
	for _, c := range of {
		if v, ok := third(c.LevelDB, c.Valid, t); ok {
			sum += v
			n++
		}
	}
	return sum / n, n > 0
}

func summed(t int) bool {
	f := band.AllThirds()[t].Mid
	return f > lowHz && f < highHz
}

func rms(v []float64, valid []bool) float64 {
	sum, n := 0.0, 0.0
	for t, x := range v {
		if valid[t] && summed(t) {
			sum += x * x
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / n)
}
