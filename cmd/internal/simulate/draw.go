package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

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
)

// surveyPlan lists displacements in the order in which a smaller survey takes them.
var surveyPlan = []capture.Displacement{
	{}, {ForwardMM: 8}, {ForwardMM: -8}, {UpMM: 8}, {UpMM: -8}, {RotationDeg: 10}, {RotationDeg: -10},
	{ForwardMM: 4}, {ForwardMM: -4}, {UpMM: 4}, {UpMM: -4}, {}, {RotationDeg: 5},
	{ForwardMM: 5, UpMM: 5}, {ForwardMM: -5, UpMM: -5, RotationDeg: 5},
	{ForwardMM: 5, UpMM: -5}, {RotationDeg: -5}, {ForwardMM: -5, UpMM: 5}, {}, {ForwardMM: 2, UpMM: -2},
	{ForwardMM: 8, UpMM: 8}, {ForwardMM: -8, UpMM: 8}, {ForwardMM: 8, UpMM: -8}, {ForwardMM: -8, UpMM: -8}, {},
}

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
		s.drawReadings(rand.New(rand.NewPCG(seed, streamReadings)))
	}
	for i := range s.Rows {
		s.Rows[i].Row = i + 2
		s.Rows[i].File = s.Rows[i].fileName()
	}
	return s
}

func subjectName(i int) string { return fmt.Sprintf("L%02d", i+1) }

type drawer struct {
	*rand.Rand
	d   Design
	own [][][2][3]float64 // per model and listener: the usual place of each ear
}

func (r *drawer) normal(sd float64) float64 { return sd * r.NormFloat64() }

// around returns a placement near a centre with the scatter that no survey
// models: cushion, lean, microphone, gain.
func (r *drawer) around(centre [3]float64, worn bool) Placement {
	k := r.d.Scatter
	if !worn {
		k *= 0.6 // an artificial head has firm sides and no hair
	}
	p := Placement{Displacement: capture.Displacement{ForwardMM: centre[0], UpMM: centre[1], RotationDeg: centre[2]}}
	p.GapMM = r.cushion(0.8 * k)
	p.TiltDeg = [2]float64{r.normal(1 * k), r.normal(1 * k)}
	p.MicMM = [2]float64{r.normal(0.25 * k), r.normal(0.25 * k)}
	p.GainDB = r.normal(0.1 * k)
	return p
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

// drawFixture places the ordinary fixture seatings, each heard at both points.
func (s *Study) drawFixture(r *drawer, m int, mean [3]float64) {
	d := s.Design
	n := d.FixtureSeatings
	if d.Apart {
		n = d.BlockedSeatings
	}
	for k := range n {
		row := s.fixtureRow(r, m, capture.Blocked, k+1, r.fixtureAt(k, mean), d.FixtureLeak && !d.Apart && k == n-1)
		s.Rows = append(s.Rows, row)
		if !d.Apart {
			row.Point = capture.Drum
			s.Rows = append(s.Rows, row)
		}
	}
}

// fixtureAt is where fixture seating k of a model is placed.
func (r *drawer) fixtureAt(k int, mean [3]float64) [3]float64 {
	at := [3]float64{r.normal(2.5), r.normal(2.5), r.normal(2.5)}
	if far := r.d.FixtureOffsetsMM; k < len(far) {
		phi := 2 * math.Pi * r.Float64()
		at = [3]float64{mean[0] + far[k]*math.Cos(phi), mean[1] + far[k]*math.Sin(phi), mean[2] + r.normal(1)}
	}
	return at
}

// fixtureRow is one fixture seating. The two cups differ by equal and opposite
// amounts, so that the headset is exactly where it was asked.
func (s *Study) fixtureRow(r *drawer, m int, point capture.Point, number int, at [3]float64, leak bool) Row {
	row := s.row(m, s.Design.Listeners, capture.FixtureSubject, point, number)
	apart := [2]float64{r.normal(0.3), r.normal(0.3)}
	if k := FixtureIndex(row); k < len(s.Design.FixtureYawMM) {
		apart[0] += s.Design.FixtureYawMM[k]
	}
	for e := range row.True {
		p := r.around(at, false)
		p.ForwardMM += apart[0]
		p.UpMM += apart[1]
		apart[0], apart[1] = -apart[0], -apart[1]
		height := 0.35 + 0.15*r.Float64()
		if leak && !s.Open[m] {
			p.SlitMM = height
		}
		row.True[e] = p
	}
	return row
}

// drawSurvey displaces the headphone on the fixture about a mark. What the sheet
// says is what the operator meant; the truth has the error of the ruler.
func (s *Study) drawSurvey(r *drawer, m int, point capture.Point, first int, mark [3]float64) {
	d := s.Design
	leaks := d.SurveyLeaks
	if s.Open[m] || d.SurveySize == 0 {
		leaks = 0
	}
	for k := range d.SurveySize + leaks {
		meant := capture.Displacement{}
		if k < d.SurveySize {
			meant = surveyPlan[k%len(surveyPlan)]
		}
		row := s.row(m, d.Listeners, capture.FixtureSubject, point, first+k)
		row.Survey = &meant
		at := meant.Vector()
		for a := range at {
			at[a] += mark[a]
		}
		at[0] += r.ruler(d.RulerSD)
		at[1] += r.ruler(d.RulerSD)
		at[2] += r.ruler(1.5 * d.RulerSD)
		for e := range row.True {
			p := r.around(at, false)
			p.ForwardMM += r.normal(0.5 * d.RulerSD)
			p.UpMM += r.normal(0.5 * d.RulerSD)
			if k >= d.SurveySize {
				p.SlitMM = 0.25 + 0.1*float64(k-d.SurveySize)
				row.Seal = fmt.Sprintf("shim %.2g mm", p.SlitMM)
			}
			row.True[e] = p
		}
		s.Rows = append(s.Rows, row)
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

// fileName says who, what and which.
func (r Row) fileName() string {
	what := strings.ToLower(strings.ReplaceAll(r.Model, " ", "-"))
	switch {
	case r.Model == "":
		what = strings.TrimSuffix("bare-ear"+r.Loudspeaker, "°")
	case r.Displaced():
		what += "-survey"
	}
	return fmt.Sprintf("recordings/%s_%s_%03d_%s.wav", strings.ToLower(r.Subject), what, r.Number, r.Point)
}

func (s *Study) row(model, subject int, name string, point capture.Point, number int) Row {
	row := Row{ModelIndex: model, SubjectIndex: subject}
	row.Subject, row.Point, row.Number = name, point, number
	if model >= 0 {
		row.Model, row.Unit = s.Models[model], "1"
	}
	return row
}
