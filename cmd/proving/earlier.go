package main

import (
	"context"
	"fmt"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
	"asworn/fitcorr/earlier"
	"asworn/fitcorr/reading"
)

// Series of studies of one panel on one fixture. In every study bare ears are
// recorded anew, with the microphone and the head a little elsewhere, and the entrances of all
// heads are found anew for the readings, from a point that stays. The last study is
// the one that is scored.

const streamEarlier = 1000 // second argument of rand.NewPCG, beyond those of simulate

// series is a drawn study as the last of several.
type series struct {
	panels   []earlier.Panel
	findings []study.ReadingRow // this study's
	// landmark is how far each head's entrance was found from where it is in this study, mm.
	landmark map[string][2]float64
}

func drawSeries(ctx context.Context, d *simulate.Study, seed uint64, before int) (series, error) {
	rng := rand.New(rand.NewPCG(seed, streamEarlier))
	normal := func(sd float64) float64 { return sd * rng.NormFloat64() }
	stated := study.Default().Reading
	subjects := d.Design.Listeners + 1
	name := func(i int) string {
		if i == d.Design.Listeners {
			return capture.FixtureSubject
		}
		return fmt.Sprintf("L%02d", i+1)
	}
	find := func() (rows []study.ReadingRow) {
		for i := range subjects {
			sd := stated.LandmarkMM
			if name(i) == capture.FixtureSubject {
				sd = stated.FixtureLandmarkMM
			}
			rows = append(rows, study.ReadingRow{Subject: name(i), ForwardMM: normal(sd), UpMM: normal(sd)})
		}
		return rows
	}
	out := series{findings: find(), landmark: map[string][2]float64{}}
	for _, f := range out.findings {
		out.landmark[f.Subject] = [2]float64{f.ForwardMM, f.UpMM}
	}
	for j := range before {
		s := *d
		s.Rows, s.Readings = nil, nil
		for i := range subjects {
			row := simulate.Row{ModelIndex: -1, SubjectIndex: i}
			row.Subject, row.Point, row.Number = name(i), capture.Blocked, 1
			row.File = fmt.Sprintf("earlier-%d/%s.wav", j, row.Subject)
			turn, k := 1.5, d.Design.Scatter
			if row.OnFixture() { // as simulate has it
				turn, k = 0.5, 0.6*k
			}
			row.YawDeg = normal(turn)
			for e := range row.True {
				row.True[e] = simulate.Placement{MicMM: [2]float64{normal(0.25 * k), normal(0.25 * k)}, GainDB: normal(0.1 * k)}
			}
			s.Rows = append(s.Rows, row)
		}
		ss, err := s.Seatings(ctx, seed+uint64(j+1)<<32, 1)
		if err != nil {
			return out, err
		}
		rows := find()
		out.panels = append(out.panels, earlier.Of(fmt.Sprintf("study %d", j+1), earlier.Fixture{}, ss, rows, reading.Combine(rows, stated), nil))
	}
	return out, nil
}

// take gives the last study what the ones before it know.
func (s series) take(ss []fitcorr.Seating, stated study.ReadingUncertainty, confidence float64) ([]fitcorr.Seating, study.ReadingUncertainty) {
	for i := range ss {
		if r := ss[i].Read; r != nil {
			b := s.landmark[ss[i].Subject]
			ss[i].Read = &capture.Reading{ForwardMM: r.ForwardMM - b[0], UpMM: r.UpMM - b[1]}
		}
	}
	t := earlier.Take(ss, s.findings, reading.Combine(s.findings, stated), stated, s.panels, confidence)
	return t.Seatings, t.Reading
}
