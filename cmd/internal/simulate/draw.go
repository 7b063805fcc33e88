package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"asworn/capture"
)

// World builds the physics of a study from its design, a number of models and
// the kinds of the models.
type World func(seed uint64, d Design, open []bool) Acoustics

// Streams of the seeded generator, second arguments of rand.NewPCG: each part of a
// study has its own, so that
// changing one leaves the others as they are.
const (
	streamStudy = iota + 1
	StreamWorld
	StreamCups
	StreamNoise
	StreamCalibrator
	StreamClock
	streamCurves
	streamDisplaced
	streamReadings
	streamFallen
	streamApart
	streamLeaks
	streamFindings
)

// Draw invents a study. The same seed and design give the same study.
func Draw(seed uint64, d Design, world World) *Study {
	s := &Study{Design: d}
	for i := range d.Closed + d.Open {
		s.Models = append(s.Models, fmt.Sprintf("Model %c", 'A'+i))
		s.Open = append(s.Open, i >= d.Closed)
	}
	s.World = world(seed, d, s.Open)
	if d.EvenCups {
		s.World = even{s.World}
	}
	r := &drawer{Rand: rand.New(rand.NewPCG(seed, streamStudy)), d: d}
	s.drawLeaks(rand.New(rand.NewPCG(seed, streamLeaks)))
	for m := range s.Models {
		s.drawModel(r, m)
	}
	if d.BareEar {
		for i := range d.Listeners {
			s.addBare(r, i, subjectName(i))
		}
		s.addBare(r, d.Listeners, capture.FixtureSubject)
	}
	s.Mark = make([][3]float64, len(s.Models))
	if d.Apart {
		s.drawApart(&drawer{Rand: rand.New(rand.NewPCG(seed, streamApart)), d: d})
	}
	s.drawFallen(rand.New(rand.NewPCG(seed, streamFallen)))
	s.drawDisplaced(rand.New(rand.NewPCG(seed, streamDisplaced)), r.own)
	if d.Readings {
		s.drawReadings(rand.New(rand.NewPCG(seed, streamReadings)), rand.New(rand.NewPCG(seed, streamFindings)))
	}
	for i := range s.Rows {
		s.Rows[i].Row = i + 2
		s.Rows[i].File = s.Rows[i].fileName()
	}
	return s
}

func (s *Study) drawModel(r *drawer, m int) {
	d := s.Design
	w := WornTruth{Mean: [3]float64{r.mean(d.MeanSD), r.mean(d.MeanSD), r.mean(d.MeanSD)}}
	w.BetweenSD = [3]float64{d.BetweenSD, d.BetweenSD, 1.5 * d.BetweenSD}
	w.WithinSD = [3]float64{d.WithinSD, d.WithinSD, 1.5 * d.WithinSD}
	s.drawWorn(r, m, &w)
	s.Worn = append(s.Worn, w)
	s.drawFixture(r, m, s.Target(m))
	s.drawSurvey(r, m, capture.Blocked, 100, [3]float64{})
}

// drawWorn draws every worn seating of a model. The standard deviations are
// those of the headset, the mean of both cups; each cup has some of its own.
func (s *Study) drawWorn(r *drawer, m int, w *WornTruth) {
	d := s.Design
	n := 0.0
	r.own = append(r.own, make([][2][3]float64, d.Listeners))
	for i := range d.Listeners {
		var own [2][3]float64 // listener's own mean of each ear, against the people's
		for a := range 3 {
			common := r.between(w.BetweenSD[a] * math.Sqrt(0.9))
			for e := range own {
				own[e][a] = w.Mean[a] + common
				if a == 0 {
					own[e][a] += d.WornYawMM * float64(1-2*e)
				}
				if a < 2 { // a headband turns as one
					own[e][a] += r.normal(w.BetweenSD[a] * math.Sqrt(0.2))
				}
			}
		}
		r.own[m][i] = own
		for k := range d.Seatings {
			row := s.row(m, i, subjectName(i), capture.Blocked, k+1)
			var centre [2][3]float64
			for a := range 3 {
				common := r.within(w.WithinSD[a] * math.Sqrt(0.9))
				for e := range centre {
					centre[e][a] = own[e][a] + common
					if a < 2 {
						centre[e][a] += r.normal(w.WithinSD[a] * math.Sqrt(0.2))
					}
				}
			}
			for e := range row.True {
				row.True[e] = r.around(centre[e], true)
				if height := r.slitMM(s.leaks[i]); !s.Open[m] {
					row.True[e].SlitMM = height
				}
			}
			h := row.Headset()
			for a := range 3 {
				w.PanelMean[a] += h[a]
			}
			n++
			s.Rows = append(s.Rows, row)
		}
	}
	for a := range 3 {
		w.PanelMean[a] /= max(n, 1)
	}
}

func (s *Study) addBare(r *drawer, subject int, name string) {
	row := s.row(-1, subject, name, capture.Blocked, 1)
	row.YawDeg = r.normal(1.5)
	if subject == s.Design.Listeners {
		row.YawDeg = r.normal(0.5)
	}
	for e := range row.True {
		p := r.around([3]float64{}, subject < s.Design.Listeners)
		row.True[e] = Placement{MicMM: p.MicMM, GainDB: p.GainDB}
	}
	s.Rows = append(s.Rows, row)
	yaw := row.YawDeg
	for _, turn := range s.Design.BareTurnsDeg { // the microphones stay in
		row.YawDeg, row.Loudspeaker = yaw+turn, fmt.Sprintf("%+g°", turn)
		s.Rows = append(s.Rows, row)
	}
}
