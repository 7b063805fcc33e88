package fitcorr

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/leak"
)

// paths is a headphone on an ear as a sum of sound paths whose lengths change
// with the displacement: not the survey's model.
type paths struct {
	strength []float64
	delayUS  []float64
	turn     [][3]float64 // µs per mm and degree
}

func newPaths(rng *rand.Rand) paths {
	p := paths{strength: []float64{1}, delayUS: []float64{0}, turn: [][3]float64{{}}}
	for k := range 5 {
		p.strength = append(p.strength, 0.5*math.Pow(0.8, float64(k)))
		p.delayUS = append(p.delayUS, 40+60*float64(k)+20*rng.Float64())
		p.turn = append(p.turn, [3]float64{2.5 * rng.NormFloat64(), 2.5 * rng.NormFloat64(), 0.4 * rng.NormFloat64()})
	}
	return p
}

func (p paths) level(f float64, d [3]float64) float64 {
	var sum complex128
	for k, a := range p.strength {
		tau := p.delayUS[k]
		for i, v := range p.turn[k] {
			tau += v * d[i]
		}
		sum += complex(a, 0) * cmplx.Exp(complex(0, -2*math.Pi*f*tau*1e-6))
	}
	return 20 * math.Log10(cmplx.Abs(sum)+0.05)
}

// fixtureStudy is one simulated model: survey, seatings at given offsets and
// what was estimated about them, with the truth.
type fixtureStudy struct {
	ss      []Seating
	survey  *Survey
	offsets []Offset
	worn    *Worn
	placed  map[string][3]float64 // position of each fixture seating
	wornAt  [3]float64
	paths   [2]paths
	drum    func(f float64, d [3]float64) float64 // blocked to drum
}

// simulateFixture makes a survey of 13 displacements, seatings on the fixture
// at the given offsets and eight listeners around wornAt. Offsets are known to
// fixtureSD, the worn mean to wornSD (mm), from elsewhere than the levels.
func simulateFixture(t testing.TB, seed uint64, at [][3]float64, wornAt [3]float64, fixtureSD, wornSD, scatterDB float64) fixtureStudy {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 77))
	st := fixtureStudy{survey: &Survey{Model: "M"}, worn: &Worn{Listeners: 8, Readings: &Readings{}}, placed: map[string][3]float64{}, wornAt: wornAt}
	st.paths = [2]paths{newPaths(rng), newPaths(rng)}
	st.drum = func(f float64, _ [3]float64) float64 { return 8 * math.Exp(-math.Pow(math.Log2(f/2800), 2)) }
	all := band.All()
	seat := func(id string, number int, point capture.Point, d [3]float64, survey *capture.Displacement) Seating {
		s := Seating{ID: id, Model: "M", Subject: capture.FixtureSubject, Point: point, Number: number, Survey: survey}
		for e := range s.Ears {
			c := Curve{make([]float64, band.Count), make([]float64, band.Count), make([]bool, band.Count)}
			smooth := 0.0
			for b, f := range all {
				if b%8 == 0 {
					smooth = rng.NormFloat64()
				}
				c.LevelDB[b] = st.paths[e].level(f.Mid, d) + scatterDB*smooth*math.Min(1, f.Mid/4000) + 0.02*rng.NormFloat64()
				if point == capture.Drum {
					c.LevelDB[b] += st.drum(f.Mid, d)
				}
				c.StdErrDB[b], c.Valid[b] = 0.02, true
			}
			s.Ears[e] = c
		}
		return s
	}
	var rows []Seating
	for _, d := range [][3]float64{{}, {}, {6, 0, 0}, {-6, 0, 0}, {0, 6, 0}, {0, -6, 0}, {4, 4, 0}, {-4, 4, 0}, {4, -4, 0}, {-4, -4, 0}, {3, 0, 0}, {-3, 0, 0}, {0, 3, 0}, {0, -3, 0}} {
		rows = append(rows, seat(fmt.Sprint("survey", len(rows)), 100+len(rows), capture.Blocked, d, &capture.Displacement{ForwardMM: d[0], UpMM: d[1]}))
	}
	slip := make([]float64, len(rows))
	for i := range slip {
		slip[i] = 1
	}
	for e := range st.survey.Ears {
		es, _, err := fitEarSurvey(rows, e, slip)
		if err != nil {
			t.Fatal(err)
		}
		st.survey.Ears[e] = es
	}
	st.ss = rows
	around := func(v [3]float64, sd float64) Estimate {
		var e Estimate
		for a := range 2 {
			e.Value[a] = v[a] + sd*rng.NormFloat64()
			e.Cov[a][a] = sd * sd
		}
		return e
	}
	for i, d := range at {
		id := fmt.Sprint("f", i)
		st.placed[id] = d
		st.ss = append(st.ss, seat(id, i, capture.Blocked, d, nil), seat(id+"d", i, capture.Drum, d, nil))
		st.offsets = append(st.offsets, Offset{ID: id, Subject: capture.FixtureSubject, Seating: i, Ears: [2]Estimate{around(d, fixtureSD), around(d, fixtureSD)}})
	}
	for e := range st.worn.EarMean {
		st.worn.EarMean[e] = around(wornAt, wornSD)
	}
	for l := range 8 {
		p := wornAt
		for a := range 2 {
			p[a] += 1.5 * rng.NormFloat64()
		}
		st.offsets = append(st.offsets, Offset{ID: fmt.Sprint("w", l), Subject: fmt.Sprint("L", l), Ears: [2]Estimate{around(p, wornSD), around(p, wornSD)}})
	}
	return st
}

// TestCorrectionsComeNearer: of the curves that were corrected, 95 % must be
// nearer to the level at the true worn mean than as measured, and the mean
// error of seatings 4 mm off must fall to about half. ASWORN_LONG=1 runs the table of
// docs/correction.md.
func TestCorrectionsComeNearer(t *testing.T) {
	ring := func(rng *rand.Rand, mm float64) [3]float64 {
		phi := 2 * math.Pi * rng.Float64()
		return [3]float64{0.5 + mm*math.Cos(phi), -0.5 + mm*math.Sin(phi)}
	}
	cases := []struct {
		name                       string
		offMM                      float64
		fixtureSD, wornSD, scatter float64
		halves                     bool
	}{
		{"4 mm off", 4, 0.6, 0.8, 0.3, true},
		{"4 mm off, little scatter", 4, 0.6, 0.8, 0.1, true},
		{"4 mm off, worn mean to 1.5 mm", 4, 0.7, 1.5, 0.3, false},
		{"4 mm off, much scatter", 4, 0.6, 0.8, 0.8, false},
		{"2 mm off", 2, 0.6, 0.8, 0.3, false},
		{"in place", 0.5, 0.6, 0.8, 0.3, false},
	}
	studies := 6
	if longRun() {
		studies = 60
	}
	var allApplied, allNearer int
	for _, tc := range cases {
		var applied, nearer int
		var before, after, count, was, is float64
		for seed := range uint64(studies) {
			rng := rand.New(rand.NewPCG(seed, 1))
			var at [][3]float64
			for range 6 {
				at = append(at, ring(rng, tc.offMM))
			}
			st := simulateFixture(t, seed, at, [3]float64{0.5, -0.5}, tc.fixtureSD, tc.wornSD, tc.scatter)
			for _, c := range Corrections(st.ss, st.survey, st.offsets, st.worn, DefaultOptions()) {
				w, i, some := st.distances(c)
				before, after, count = before+w, after+i, count+1
				if some {
					applied++
					was, is = was+w, is+i
					if i < w {
						nearer++
					}
				}
			}
		}
		n := math.Max(1, float64(applied))
		t.Logf("%-30s %4.0f curves, corrected %3d, nearer %3d (%.3f); mean error %.2f dB, after %.2f dB; of the corrected %.2f, after %.2f dB",
			tc.name, count, applied, nearer, float64(nearer)/n, before/count, after/count, was/n, is/n)
		allApplied, allNearer = allApplied+applied, allNearer+nearer
		if after > 1.02*before {
			t.Errorf("%s: mean error %.2f dB, was %.2f dB", tc.name, after/count, before/count)
		}
		if tc.halves && is > 0.55*was {
			t.Errorf("%s: mean error of the corrected %.2f dB, was %.2f dB", tc.name, is/n, was/n)
		}
	}
	t.Logf("all: nearer in %d of %d", allNearer, allApplied)
	if float64(allNearer) < 0.95*float64(allApplied) {
		t.Errorf("nearer in %d of %d", allNearer, allApplied)
	}
}

// distances returns the RMS distance of a curve to the level at the true worn
// mean, 1 kHz to 10 kHz, before and after its correction.
func (st fixtureStudy) distances(c Correction) (before, after float64, some bool) {
	var s Seating
	for _, x := range st.ss {
		if x.ID == c.ID {
			s = x
		}
	}
	e := 0
	if c.Ear == capture.Right.String() {
		e = 1
	}
	n := 0.0
	for b, f := range band.All() {
		if f.Mid < 1000 || f.Mid > 10000 {
			continue
		}
		want := st.paths[e].level(f.Mid, st.wornAt)
		if c.Point == capture.Drum {
			want += st.drum(f.Mid, st.wornAt)
		}
		was := s.Ears[e].LevelDB[b] - want
		is := was + c.DeltaDB[b]
		some = some || c.Applied[b]
		before += was * was
		after += is * is
		n++
	}
	return math.Sqrt(before / n), math.Sqrt(after / n), some
}

// TestWrongSurveyIsFoundOut: with the survey of another headphone, which
// predicts its own displacements well, held-out seatings do not come nearer,
// and next to nothing is corrected.
func TestWrongSurveyIsFoundOut(t *testing.T) {
	at := [][3]float64{{4, 0}, {-4, 0}, {0, 4}, {0, -4}, {3, 3}, {-3, 3}}
	var right, wrong int
	for seed := range uint64(6) {
		st := simulateFixture(t, seed, at, [3]float64{0.5, -0.5}, 0.6, 0.8, 0.3)
		other := simulateFixture(t, seed+50, nil, [3]float64{}, 0.6, 0.8, 0.3)
		count := func(cs []Correction) (n int) {
			for _, c := range cs {
				for b := range c.Applied {
					if c.Applied[b] {
						n++
					}
				}
			}
			return n
		}
		right += count(Corrections(st.ss, st.survey, st.offsets, st.worn, DefaultOptions()))
		// The rows of the other survey go with it.
		mixed := append([]Seating(nil), other.ss...)
		for _, s := range st.ss {
			if s.Survey == nil {
				mixed = append(mixed, s)
			}
		}
		wrong += count(Corrections(mixed, other.survey, st.offsets, st.worn, DefaultOptions()))
	}
	t.Logf("bands corrected: %d by the right survey, %d by a wrong one", right, wrong)
	if wrong > right/10 {
		t.Errorf("a wrong survey corrected %d bands, the right one %d", wrong, right)
	}
}

// TestSlippedRowHasNoSay: a survey row whose displacement is stated wrong, and
// whose variance the fit raised, does not stop corrections.
func TestSlippedRowHasNoSay(t *testing.T) {
	at := [][3]float64{{4, 0}, {-4, 0}, {0, 4}, {0, -4}, {3, 3}, {-3, 3}}
	var fine, spoilt, told int
	for seed := range uint64(4) {
		st := simulateFixture(t, seed, at, [3]float64{0.5, -0.5}, 0.6, 0.8, 0.3)
		rows := surveyRows(st.ss)
		helps := func(slip float64) (n int) {
			slips := make([]float64, len(rows))
			for i := range slips {
				slips[i] = 1
			}
			slips[3] = slip
			e, _, err := fitEarSurvey(rows, 0, slips)
			if err != nil {
				t.Fatal(err)
			}
			if got := e.slipped(); got[3] != (slip > 1) || slices.Index(got, true) != map[bool]int{true: 3, false: -1}[slip > 1] {
				t.Errorf("slipped %v with variance %g of row 3", got, slip)
			}
			for _, ok := range displacementHelps(rows, &e, 0) {
				if ok {
					n++
				}
			}
			return n
		}
		fine += helps(1)
		rows[3].Survey = &capture.Displacement{ForwardMM: 6} // it was at −6
		spoilt += helps(1)
		told += helps(100)
	}
	t.Logf("third octaves that held-out displacements vouch for: %d; with a wrong row %d; with that row told %d", fine, spoilt, told)
	if told < fine*9/10 || told <= spoilt {
		t.Errorf("%d of %d with the wrong row told, %d without", told, fine, spoilt)
	}
}

// TestCorrectionsMendALeak: a fixture that leaks more than the listeners do is
// brought to their mean, at the blocked entrance and at the drum.
func TestCorrectionsMendALeak(t *testing.T) {
	slit := func(mm float64) (leak.Params, Leak) {
		s := leak.Slit{Height: mm * 1e-3, Width: 0.02, Length: 0.015}
		p := leak.FromCircuit(s.Resistance(), s.Mass(), leak.Compliance(1e-4))
		l := Leak{Class: "leaking", CornerHz: p.CornerHz, Damping: p.Damping, LossSE: [3]float64{0.3, 0.2, 0.1}}
		for k, f := range lossHz {
			l.LossDB[k] = p.LossDB(f)
		}
		return p, l
	}
	at := make([][3]float64, 5)
	st := simulateFixture(t, 3, at, [3]float64{}, 0.6, 0.8, 0.1)
	worn, wornLeak := slit(0.2)
	for i := range st.offsets {
		o := &st.offsets[i]
		if o.Subject != capture.FixtureSubject {
			o.Leak = [2]Leak{wornLeak, wornLeak}
			continue
		}
		p, l := slit(0.3 + 0.06*float64(o.Seating))
		o.Leak = [2]Leak{l, l}
		for _, s := range st.ss {
			if s.Survey == nil && s.Number == o.Seating {
				for e := range s.Ears {
					for b, f := range band.All() {
						s.Ears[e].LevelDB[b] -= p.LossDB(f.Mid)
					}
				}
			}
		}
	}
	cs := Corrections(st.ss, st.survey, st.offsets, st.worn, DefaultOptions())
	if len(cs) != 5*2*2 {
		t.Fatalf("%d corrections, want 20", len(cs))
	}
	for _, c := range cs {
		var number int
		for _, s := range st.ss {
			if s.ID == c.ID {
				number = s.Number
			}
		}
		p, _ := slit(0.3 + 0.06*float64(number))
		for b, f := range band.All() {
			if f.Lower > 80 || f.Mid < 20 {
				continue
			}
			want := p.LossDB(f.Mid) - worn.LossDB(f.Mid)
			lowest := band.All()[b/perThird*perThird].Mid // the whole third octave goes by its deepest band
			deep := p.LossDB(lowest)-worn.LossDB(lowest) > correctionDepthDB-0.5
			if !c.Applied[b] && !deep {
				t.Fatalf("%s %s at %.0f Hz not corrected: %s", c.ID, c.Ear, f.Mid, c.Withheld)
			}
			if c.Applied[b] && math.Abs(c.DeltaDB[b]-want) > 0.2 {
				t.Fatalf("%s at %.0f Hz: %.2f dB, want %.2f", c.ID, f.Mid, c.DeltaDB[b], want)
			}
		}
	}
	t.Log(cs[0].Withheld)
}

// longRun reports whether the long tables of the docs are asked for.
func longRun() bool { return os.Getenv("ASWORN_LONG") != "" }
