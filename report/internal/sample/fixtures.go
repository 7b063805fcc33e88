package sample

import (
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/between"
	"asworn/report"
)

// Fixtures returns the comparison of two invented fixtures over three models; the
// second has no blocked seatings of the last model, so nothing of people's is there.
func Fixtures() report.Fixtures {
	r := report.Fixtures{Title: "Two fixtures", Confidence: 0.95, Names: []string{"new", "old"}}
	for _, t := range band.AllThirds() {
		r.ThirdsHz = append(r.ThirdsHz, t.Mid)
	}
	for i, model := range []string{"Model A", "Model B", "Model C"} {
		m := report.FixtureModel{Model: model}
		for k, name := range r.Names {
			m.Places = append(m.Places, report.FixturePlace{Fixture: name, Mean: Estimate([3]float64{float64(i) - 1, 2 * float64(k), 1}, 0.4, k == 0)})
		}
		for _, p := range []capture.Point{capture.Drum, capture.Blocked} {
			for e, ear := range capture.Ears {
				if p == capture.Blocked && i == 2 {
					continue
				}
				m.Differences = append(m.Differences, difference(r, p, ear, float64(i+e)))
				for _, name := range r.Names {
					if p == capture.Blocked && !(i == 1 && name == "old") {
						d := difference(r, p, ear, float64(i)+2)
						m.People = append(m.People, between.FromPeople{Fixture: name, Ear: ear, MeasuredDB: d.MeasuredDB, LeftDB: d.FinalDB, HalfDB: d.HalfDB, Valid: d.Valid,
							BiasRMS: d.MeasuredRMS, LeftRMS: d.FinalRMS})
					}
				}
			}
		}
		r.Models = append(r.Models, m)
	}
	return r
}

// difference is a smooth one; what differs grows with size.
func difference(r report.Fixtures, p capture.Point, ear capture.Ear, size float64) between.Difference {
	d := between.Difference{Point: p, Ear: ear, First: r.Names[0], Second: r.Names[1], MeasuredRMS: 2, FinalRMS: 1, CompensatedRMS: 0.8, Explained: 0.75,
		Apart: int(size), Compared: 24, Alike: true}
	for i, hz := range r.ThirdsHz {
		x := math.Log10(hz / 1000)
		final := 0.5 * size * math.Sin(3*x) * hz / (hz + 2000)
		d.Valid = append(d.Valid, i > 2)
		d.FinalDB = append(d.FinalDB, final)
		d.MeasuredDB = append(d.MeasuredDB, final+2*math.Exp(-20*(x-0.8)*(x-0.8)))
		d.CompensatedDB = append(d.CompensatedDB, final-0.5*x)
		d.HalfDB = append(d.HalfDB, 0.3+0.5*hz/20000)
	}
	return d
}
