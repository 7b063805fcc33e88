package sensitivity

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// drawCurve adds a smooth random curve to base: standard deviation sd in
// every third-octave band, correlated between neighbours, flat inside a band.
func drawCurve(rng *rand.Rand, base []float64, sd float64) []float64 {
	const rho = 0.8
	out := make([]float64, band.Count)
	x := rng.NormFloat64()
	for i := range out {
		if i > 0 && i%seat.PerThird == 0 {
			x = rho*x + math.Sqrt(1-rho*rho)*rng.NormFloat64()
		}
		out[i] = base[i] + sd*x
	}
	return out
}

func allValid() []bool {
	v := make([]bool, band.Count)
	for i := range v {
		v[i] = true
	}
	return v
}

// scatter is what a simulated model does, in dB.
type scatter struct {
	listeners, seatings, fixture   int
	between, within, onFixture, at float64 // at: fixture − worn
}

func (c scatter) draw(rng *rand.Rand, point capture.Point) []seat.Seating {
	var out []seat.Seating
	flat := make([]float64, band.Count)
	add := func(subject string, n int, base []float64, sd float64) {
		for j := range n {
			s := seat.Seating{ID: fmt.Sprint(subject, "-", j), Model: "Model A", Subject: subject, Point: point, Number: j + 1}
			for e := range s.Ears {
				s.Ears[e] = seat.Curve{LevelDB: drawCurve(rng, base, sd), Valid: allValid()}
			}
			out = append(out, s)
		}
	}
	for i := range c.listeners {
		add(fmt.Sprintf("L%02d", i+1), c.seatings, drawCurve(rng, flat, c.between), c.within)
	}
	for i := range flat {
		flat[i] = c.at
	}
	add(capture.FixtureSubject, c.fixture, flat, c.onFixture)
	return out
}

// drawPanel returns the left ears' third-octave levels of a draw.
func (c scatter) drawPanel(rng *rand.Rand) fitPanel {
	var p fitPanel
	ss := c.draw(rng, capture.Blocked)
	for i, level := range thirdLevels(ss, capture.Left) {
		p.subject = append(p.subject, ss[i].Subject)
		p.level = append(p.level, level)
	}
	return p
}

func rms(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

// A large panel gives back what went in.
func TestSensitivitiesRecoverTruth(t *testing.T) {
	c := scatter{listeners: 120, seatings: 4, fixture: 60, between: 2, within: 1, onFixture: 0.5, at: 1.5}
	got := Of(c.draw(rand.New(rand.NewPCG(1, 2)), capture.Blocked), nil, seat.DefaultOptions())
	if len(got) != 2 || got[0].Ear != capture.Left || got[1].Ear != capture.Right {
		t.Fatalf("want left and right, got %d", len(got))
	}
	for _, s := range got {
		for _, f := range []struct {
			name      string
			got, want float64
			tolerance float64
		}{
			{"between", rms(sds(s.Between)), 2, 0.15},
			{"within", rms(sds(s.Within)), 1, 0.05},
			{"fixture", rms(sds(s.Fixture)), 0.5, 0.05},
			{"repeatability", rms(s.RepeatabilityDB), 1, 0.05},
			{"reproducibility", rms(s.ReproducibilityDB), math.Sqrt(5), 0.15},
			{"bias", rms(s.BiasDB), 1.5, 0.3},
			{"bias stderr", rms(s.BiasSE), math.Sqrt((4+1./4)/120 + 0.25/60), 0.02},
			{"summary", s.SummaryDB[0], math.Sqrt(5), 0.15},
			{"seating", s.SeatingDB[0], 1, 0.05},
		} {
			if math.Abs(f.got-f.want) > f.tolerance {
				t.Errorf("%s ear, %s: %.3f, want %.3f", s.Ear, f.name, f.got, f.want)
			}
		}
	}
}

// The summary's interval covers the truth on a small panel.
func TestSummaryCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("repeats simulated studies")
	}
	const runs = 400
	for _, c := range []scatter{
		{listeners: 8, seatings: 5, between: 1.5, within: 1},
		{listeners: 6, seatings: 3, between: 0.3, within: 1},
	} {
		rng := rand.New(rand.NewPCG(5, 6))
		total, seating := 0, 0
		for range runs {
			r := Sensitivity{Listeners: c.listeners, Within: []Component{}}
			summarise(&r, c.drawPanel(rng), fitPanel{}, nil, 0.95)
			if truth := math.Hypot(c.between, c.within); r.SummaryDB[1] <= truth && truth <= r.SummaryDB[2] {
				total++
			}
			if r.SeatingDB[1] <= c.within && c.within <= r.SeatingDB[2] {
				seating++
			}
		}
		a, b := float64(total)/runs, float64(seating)/runs
		t.Logf("%d listeners × %d: summary %.3f, seating %.3f", c.listeners, c.seatings, a, b)
		if a < 0.90 || a > 0.98 || b < 0.90 || b > 0.98 {
			t.Errorf("%d listeners × %d: covers summary %.3f, seating %.3f", c.listeners, c.seatings, a, b)
		}
	}
}

// The bias's t interval covers the truth.
func TestBiasCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("repeats simulated studies")
	}
	const runs = 120
	c := scatter{listeners: 6, seatings: 3, fixture: 4, between: 1.5, within: 1, onFixture: 0.7, at: -2}
	rng := rand.New(rand.NewPCG(6, 5))
	hit, n := 0, 0
	for range runs {
		s := Of(c.draw(rng, capture.Blocked), nil, seat.DefaultOptions())[0]
		for b := 0; b < band.Thirds; b += 10 {
			n++
			if math.Abs(s.BiasDB[b]-c.at) <= stats.StudentQuantile(0.975, s.BiasDF[b])*s.BiasSE[b] {
				hit++
			}
		}
	}
	f := float64(hit) / float64(n)
	t.Logf("covers %.3f of %d", f, n)
	if f < 0.92 || f > 0.98 {
		t.Errorf("covers %.3f", f)
	}
}

// What a study cannot support stays empty, and nothing is NaN in the export.
func TestSensitivitiesOfPoorStudies(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, tc := range []struct {
		name                                               string
		c                                                  scatter
		point                                              capture.Point
		between, within, fixture, repeat, reproduce, biasd bool
	}{
		{"ten seatings on a fixture", scatter{fixture: 10, onFixture: 1}, capture.Drum, false, false, true, true, false, false},
		{"one listener", scatter{listeners: 1, seatings: 5, within: 1}, capture.Blocked, false, true, false, true, false, false},
		{"one seating each", scatter{listeners: 6, seatings: 1, fixture: 3, between: 1, onFixture: 1}, capture.Blocked, false, false, true, true, true, true},
		{"lone fixture seating", scatter{listeners: 3, seatings: 3, fixture: 1, between: 1, within: 1}, capture.Blocked, true, true, false, true, true, true},
		{"panel only", scatter{listeners: 3, seatings: 3, between: 1, within: 1}, capture.Blocked, true, true, false, true, true, false},
	} {
		got := Of(tc.c.draw(rng, tc.point), nil, seat.DefaultOptions())
		if len(got) != 2 {
			t.Errorf("%s: %d results", tc.name, len(got))
			continue
		}
		s := got[0]
		if s.Point != tc.point {
			t.Errorf("%s: point %q", tc.name, s.Point)
		}
		for _, f := range []struct {
			part       string
			have, want bool
		}{
			{"between", s.Between != nil, tc.between}, {"within", s.Within != nil, tc.within},
			{"fixture", s.Fixture != nil, tc.fixture}, {"repeatability", s.RepeatabilityDB != nil, tc.repeat},
			{"reproducibility", s.ReproducibilityDB != nil, tc.reproduce}, {"bias", s.BiasDB != nil, tc.biasd},
		} {
			if f.have != f.want {
				t.Errorf("%s: %s present is %v, want %v", tc.name, f.part, f.have, f.want)
			}
		}
		if s.SeatingDB[0] <= 0 && tc.repeat {
			t.Errorf("%s: no seating figure", tc.name)
		}
		if _, err := json.Marshal(got); err != nil {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
	if got := Of(nil, nil, seat.DefaultOptions()); got != nil {
		t.Errorf("no seatings: %v", got)
	}
}

// Survey rows and bare-ear rows change nothing; a kept band that one seating
// lost poses as no difference.
func TestSensitivitiesLeaveOut(t *testing.T) {
	c := scatter{listeners: 4, seatings: 3, fixture: 4, between: 1, within: 1, onFixture: 1}
	ss := c.draw(rand.New(rand.NewPCG(9, 9)), capture.Blocked)
	want := Of(ss, nil, seat.DefaultOptions())
	loud := ss[0]
	loud.Survey = &capture.Displacement{ForwardMM: 8}
	bare := ss[1]
	bare.Model = ""
	got := Of(append([]seat.Seating{loud, bare}, ss...), nil, seat.DefaultOptions())
	a, _ := json.Marshal(want)
	b, _ := json.Marshal(got)
	if string(a) != string(b) {
		t.Error("survey or bare-ear rows changed the result")
	}

	// Every kept band of the 1 kHz third at its own level: dropping one from
	// a single seating must not move that seating's average.
	curve := func() seat.Curve {
		l := make([]float64, band.Count)
		for i := range l {
			l[i] = float64(i % seat.PerThird)
		}
		return seat.Curve{LevelDB: l, Valid: allValid()}
	}
	two := []seat.Seating{{}, {}, {}}
	for i := range two {
		two[i].Ears[0] = curve()
	}
	third := 17 // 1 kHz
	two[0].Ears[0].Valid[third*seat.PerThird] = false
	levels := thirdLevels(two, capture.Left)
	if levels[0][third] != levels[1][third] {
		t.Errorf("levels %v and %v", levels[0][third], levels[1][third])
	}
	for b := range 3 {
		two[0].Ears[0].Valid[third*seat.PerThird+b] = false
	}
	if l := thirdLevels(two, capture.Left); !math.IsNaN(l[0][third]) || math.IsNaN(l[1][third]) {
		t.Error("a seating with three of eight bands gone still counts")
	}
}

func BenchmarkSensitivities(b *testing.B) {
	c := scatter{listeners: 8, seatings: 5, fixture: 6, between: 1.5, within: 1, onFixture: 0.7}
	ss := c.draw(rand.New(rand.NewPCG(1, 1)), capture.Blocked)
	for b.Loop() {
		Of(ss, nil, seat.DefaultOptions())
	}
}
