package earlier

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
)

// people draws how ears of people and of the fixture sound bare: smooth curves that differ
// by some dB above 2 kHz.
type people struct {
	names []string
	ears  map[string][2][]float64
}

func drawPeople(rng *rand.Rand, listeners int) people {
	p := people{ears: map[string][2][]float64{}}
	for i := range listeners {
		p.names = append(p.names, fmt.Sprintf("L%02d", i+1))
	}
	p.names = append(p.names, capture.FixtureSubject)
	for _, who := range p.names {
		p.ears[who] = [2][]float64{smooth(rng, 4), smooth(rng, 4)}
	}
	return p
}

// smooth is a curve of that standard deviation at high frequencies, correlated over a third of an octave.
func smooth(rng *rand.Rand, sd float64) []float64 {
	out := make([]float64, band.Count)
	var v float64
	rho := math.Exp(-1.0 / 24 / 0.3)
	for b, f := range band.All() {
		v = rho*v + math.Sqrt(1-rho*rho)*rng.NormFloat64()
		out[b] = sd * v * math.Min(1, math.Pow(f.Mid/5000, 2))
	}
	return out
}

// record records everybody's bare ears with a repeatability of sd dB at high frequencies and a level that is free.
func (p people) record(rng *rand.Rand, sd float64) []seat.Seating {
	var out []seat.Seating
	for _, who := range p.names {
		s := seat.Seating{ID: who, Subject: who, Point: capture.Blocked, Number: 1}
		for e := range s.Ears {
			repeat, level := smooth(rng, sd), rng.NormFloat64()
			c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			for b := range c.LevelDB {
				c.LevelDB[b], c.StdErrDB[b], c.Valid[b] = p.ears[who][e][b]+repeat[b]+level, 0.05, true
			}
			s.Ears[e] = c
		}
		out = append(out, s)
	}
	return out
}

func panelOf(ss []seat.Seating, rows []study.ReadingRow) Panel {
	return Of("spring", Fixture{Name: "fixture 1"}, ss, rows, reading.Combine(rows, study.Default().Reading), nil)
}

// A false alarm about any listener, or the fixture, is at most as frequent as stated,
// however well or badly ears repeat; another person, two exchanged names and another
// fixture are found, and nobody else is doubted.
func TestCompare(t *testing.T) {
	const studies = 100
	for _, repeat := range []float64{0.5, 1, 2} {
		var falseListener, falseFixture, changed, exchanged, fixture, others int
		for i := range studies {
			rng := rand.New(rand.NewPCG(uint64(i), 31))
			p := drawPeople(rng, 8)
			then, now := panelOf(p.record(rng, repeat), nil).Bare, panelOf(p.record(rng, repeat), nil).Bare
			c := Compare(now, then, 0.05)
			falseListener += min(1, len(c.Doubts))
			if c.Fixture != nil {
				falseFixture++
			}
			p.ears["L03"] = [2][]float64{smooth(rng, 4), smooth(rng, 4)}
			c = Compare(panelOf(p.record(rng, repeat), nil).Bare, then, 0.05)
			for _, d := range c.Doubts {
				if d.Subject == "L03" {
					changed++
				} else {
					others++
				}
			}
			swap := append([]Bare(nil), now...)
			swap[0].Subject, swap[1].Subject = swap[1].Subject, swap[0].Subject
			c = Compare(swap, then, 0.05)
			if len(c.Doubts) == 2 && c.Doubts[0].As == "L02" && c.Doubts[1].As == "L01" {
				exchanged++
			}
			p.ears["L03"] = [2][]float64{smooth(rng, 4), smooth(rng, 4)}
			p.ears[capture.FixtureSubject] = [2][]float64{smooth(rng, 4), smooth(rng, 4)}
			if c = Compare(panelOf(p.record(rng, repeat), nil).Bare, then, 0.05); c.Fixture != nil {
				fixture++
			}
		}
		t.Logf("ears repeat to %.1f dB: false alarms %d of listeners, %d of the fixture; found: changed %d, exchanged %d, fixture %d; others doubted %d; of %d",
			repeat, falseListener, falseFixture, changed, exchanged, fixture, others, studies)
		if falseListener > 10 || falseFixture > 10 || others > 10 {
			t.Errorf("%.1f dB: too many false alarms", repeat)
		}
		if repeat <= 1 && (changed < 95 || exchanged < 95 || fixture < 95) {
			t.Errorf("%.1f dB: too few are found", repeat)
		}
	}
}

// In panels of two to four, exchanged names are found although most people are then not who
// they were, another person mostly; whoever is who he was is not doubted.
func TestCompareFew(t *testing.T) {
	const studies = 100
	for listeners := 2; listeners <= 4; listeners++ {
		var doubted, exchanged, others, stranger int
		for i := range studies {
			rng := rand.New(rand.NewPCG(uint64(i), uint64(40+listeners)))
			p := drawPeople(rng, listeners)
			then, now := panelOf(p.record(rng, 1), nil).Bare, panelOf(p.record(rng, 1), nil).Bare
			doubted += min(1, len(Compare(now, then, 0.05).Doubts))
			another := drawPeople(rng, 1).record(rng, 1)[0]
			another.Subject = "L01"
			for _, d := range Compare(append(panelOf([]seat.Seating{another}, nil).Bare, now[1:]...), then, 0.05).Doubts {
				if d.Subject == "L01" {
					stranger++
				} else {
					others++
				}
			}
			now[0].Subject, now[1].Subject = now[1].Subject, now[0].Subject
			for _, d := range Compare(now, then, 0.05).Doubts {
				switch {
				case d.Subject == "L01" && d.As == "L02" || d.Subject == "L02" && d.As == "L01":
					exchanged++
				default:
					others++
				}
			}
		}
		t.Logf("%d listeners: %d of %d studies with a false alarm, %d of %d exchanged names and %d of %d strangers found, %d others doubted",
			listeners, doubted, studies, exchanged, 2*studies, stranger, studies, others)
		if doubted > 10 || others > 10 || exchanged < 2*studies*9/10 || stranger < studies*6/10 {
			t.Errorf("%d listeners: %d false alarms, %d exchanged names and %d strangers found, %d others doubted", listeners, doubted, exchanged, stranger, others)
		}
	}
}

func TestCompareNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 32))
	ss := drawPeople(rng, 2).record(rng, 1)
	if c := Compare(panelOf(ss, nil).Bare, nil, 0.05); len(c.Listeners) != 0 || c.Fixture != nil {
		t.Errorf("%+v", c)
	}
	without := panelOf(ss[:2], nil).Bare // nobody recorded the fixture
	if c := Compare(without, panelOf(ss, nil).Bare, 0.05); len(c.Listeners) != 0 {
		t.Errorf("%+v", c)
	}
}

func found(who string, side study.Side, x, y float64) study.ReadingRow {
	return study.ReadingRow{Subject: who, Side: side, ForwardMM: x, UpMM: y}
}

func nobody(int, string) bool { return false }

// Readings are referred to the mean over all findings; a head found far off is named.
func TestEntrances(t *testing.T) {
	one := panelOf(nil, []study.ReadingRow{found("fixture", 0, 10, 20), found("L01", 0, 1, 1), found("L02", 0, 0, 0), found("L03", study.LeftSide, 5, 5)})
	two := panelOf(nil, []study.ReadingRow{found("fixture", 0, 10.2, 20), found("fixture", 0, 10.4, 20.2)})
	now := []study.ReadingRow{found("fixture", 0, 11, 20), found("L01", 0, 1.3, 1), found("L02", 0, 8, 0), found("L03", 0, 5, 5), found("L04", 0, 3, 3)}
	refer, moved := toMean(now, []Panel{one, two}, nobody, 0.7, 0.5, 0.05)
	f := refer["fixture"]
	if want := 11 - (11+10+10.2+10.4)/4; f.Findings != 4 || math.Abs(f.ByMM[0]-want) > 1e-9 || math.Abs(f.ByMM[1]+0.05) > 1e-9 {
		t.Errorf("fixture %+v, want %.2f mm over four findings", f, want)
	}
	if r := refer["L01"]; r.Findings != 2 || math.Abs(r.ByMM[0]-0.15) > 1e-9 {
		t.Errorf("L01 %+v", r)
	}
	if len(refer) != 2 || len(moved) != 1 || moved[0].Subject != "L02" || moved[0].Study != "spring" || math.Abs(moved[0].MM-8) > 1e-9 {
		t.Errorf("%+v, moved %+v", refer, moved)
	}
	copied := panelOf(nil, now[:1])
	if refer, _ := toMean(now, []Panel{copied, one, one}, nobody, 0.7, 0.5, 0.05); refer["fixture"].Findings != 2 {
		t.Errorf("findings that were copied count: %+v", refer["fixture"])
	}
	if refer, _ := toMean(now, []Panel{one}, func(i int, who string) bool { return who == "fixture" }, 0.7, 0.5, 0.05); refer["fixture"].Findings != 0 {
		t.Errorf("left out, and yet %+v", refer)
	}
}

// What a study takes in: worn readings move by their own head's reference less the
// fixture's, the fixture's stay, landmarks shrink by the findings, bare ears stand in.
func TestTake(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 32))
	p := drawPeople(rng, 4)
	before := panelOf(p.record(rng, 1), []study.ReadingRow{found("fixture", 0, 0, 0), found("L01", 0, 0, 0)})
	rows := []study.ReadingRow{found("fixture", 0, 0.4, 0), found("L01", 0, 0, 0.6)}
	stated := study.Default().Reading
	ss := []seat.Seating{
		{ID: "f", Subject: "fixture", Model: "A", Point: capture.Blocked, Number: 1, Read: &capture.Reading{ForwardMM: 1, UpMM: 1}},
		{ID: "1", Subject: "L01", Model: "A", Point: capture.Blocked, Number: 1, Read: &capture.Reading{ForwardMM: 2, UpMM: 2}},
		{ID: "2", Subject: "L02", Model: "A", Point: capture.Blocked, Number: 1},
	}
	got := Take(ss, rows, reading.Combine(rows, stated), stated, []Panel{before}, 0.95)
	if r := got.Seatings[0].Read; *r != (capture.Reading{ForwardMM: 1, UpMM: 1}) {
		t.Errorf("on the fixture %+v", r)
	}
	if r := got.Seatings[1].Read; math.Abs(r.ForwardMM-1.8) > 1e-9 || math.Abs(r.UpMM-2.3) > 1e-9 {
		t.Errorf("on L01 %+v", r)
	}
	if ss[1].Read.ForwardMM != 2 {
		t.Error("the study's own reading was changed")
	}
	if f, l := got.Reading.FixtureLandmarkMM, got.Reading.LandmarkMM; math.Abs(f-0.5/math.Sqrt2) > 1e-9 || math.Abs(l-0.7*math.Sqrt(0.75)) > 1e-9 {
		t.Errorf("landmarks %.3f and %.3f mm", f, l)
	}
	var bare []string
	for _, s := range got.Seatings[3:] {
		bare = append(bare, s.Subject)
	}
	if strings.Join(bare, " ") != "fixture L01 L02" || got.Changes != nil {
		t.Errorf("bare ears of %v, changed %v", bare, got.Changes)
	}
	if none := Take(ss, rows, reading.Combine(rows, stated), stated, nil, 0.95); len(none.Seatings) != 3 || none.Reading.FixtureLandmarkMM != 0.5 || none.Findings != nil {
		t.Errorf("without earlier studies %+v", none)
	}
}

// Readings are from the mean of a study's own findings: landmarks err by less, and by no less than the
// findings show.
func TestTakeFindings(t *testing.T) {
	stated := study.Default().Reading
	ss := []seat.Seating{{ID: "1", Subject: "L01", Model: "A", Number: 1}, {ID: "2", Subject: "L02", Model: "A", Number: 1}}
	rows := []study.ReadingRow{found("fixture", 0, 0.5, 0), found("fixture", 0, -0.5, 0), found("fixture", 0, 0, 0.5), found("fixture", 0, 0, -0.5),
		found("L01", 0, 1, 0), found("L01", 0, 0, 1)}
	read := reading.Combine(rows, stated)
	got := Take(ss, rows, read, stated, nil, 0.95).Reading
	if f, l := got.FixtureLandmarkMM, got.LandmarkMM; math.Abs(f-read.FixtureLandmark.MM/2) > 1e-9 || math.Abs(l-read.Landmark.MM*math.Sqrt(0.75)) > 1e-9 {
		t.Errorf("landmarks %.3f and %.3f mm", f, l)
	}
	for i := range 4 {
		rows[i].ForwardMM *= 6
	}
	if far := Take(ss, rows, reading.Combine(rows, stated), stated, nil, 0.95).Reading; far.FixtureLandmarkMM < 1.5*got.FixtureLandmarkMM {
		t.Errorf("findings 3 mm off: %.3f mm", far.FixtureLandmarkMM)
	}
}

// A remembered listener is carried by the difference from the fixture, so that another loudspeaker does not matter.
func TestReferenceDifference(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 32))
	p := drawPeople(rng, 1)
	before := panelOf(p.record(rng, 0), nil)
	fixture := p.record(rng, 0)[1]
	for e := range fixture.Ears {
		for b := range fixture.Ears[e].LevelDB {
			fixture.Ears[e].LevelDB[b] += 3 * math.Sin(float64(b)) // another loudspeaker
		}
	}
	worn := seat.Seating{ID: "1", Subject: "L01", Model: "A", Point: capture.Blocked, Number: 1}
	out := reference([]seat.Seating{fixture, worn}, []Panel{before}, nobody)
	if len(out) != 1 {
		t.Fatalf("%d seatings", len(out))
	}
	for b := range band.Count {
		want := before.Bare[0].Ears[0].LevelDB[b] - before.Bare[1].Ears[0].LevelDB[b] + fixture.Ears[0].LevelDB[b]
		if math.Abs(out[0].Ears[0].LevelDB[b]-want) > 1e-9 {
			t.Fatalf("band %d: %.3f, want %.3f", b, out[0].Ears[0].LevelDB[b], want)
		}
	}
	own := p.record(rng, 0)[0]
	if got := reference([]seat.Seating{fixture, worn, own}, []Panel{before}, nobody); len(got) != 0 {
		t.Error("a listener's own bare ears are recorded here, and remembered ones were added")
	}
}

func TestCheck(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 32))
	good := panelOf(drawPeople(rng, 2).record(rng, 1), nil)
	good.Fixture = Fixture{Name: "fixture 1", Coupler: "IEC 60318-4", ReferenceDB: make([]float64, band.Count)}
	other := make([]float64, band.Count)
	other[100] = 1
	for _, c := range []struct {
		name   string
		change func(*Panel, *Fixture)
		says   string
	}{
		{"as it is", func(*Panel, *Fixture) {}, ""},
		{"no reference here", func(_ *Panel, f *Fixture) { f.ReferenceDB = nil }, ""},
		{"point", func(p *Panel, _ *Fixture) { p.Point = capture.Drum }, `of the "drum" point`},
		{"bands", func(p *Panel, _ *Fixture) { p.BandsHz = p.BandsHz[1:] }, "its bands are not those of this version"},
		{"fixture", func(_ *Panel, f *Fixture) { f.Name = "fixture 2" }, `made on fixture "fixture 1", this study on "fixture 2"`},
		{"coupler", func(_ *Panel, f *Fixture) { f.Coupler = "other" }, "had the coupler"},
		{"reference", func(_ *Panel, f *Fixture) { f.ReferenceDB = other }, "the reference of fixture"},
		{"listeners", func(p *Panel, _ *Fixture) { p.Listeners = []string{"P1"} }, "none of its listeners (P1) is in this study (L01, L02)"},
		{"curves", func(p *Panel, _ *Fixture) { p.Bare[0].Ears[0].Valid = nil }, "the bare ears of L01 do not have"},
		{"levels", func(p *Panel, _ *Fixture) {
			p.Bare[0].Ears[0].LevelDB = append([]float64{1e308}, p.Bare[0].Ears[0].LevelDB[1:]...)
		}, "a level of 1e+308 dB of the bare ears of L01"},
		{"findings", func(p *Panel, _ *Fixture) { p.Entrances = []Entrance{{Subject: "L01"}} }, "an entrance of L01 found 0 times"},
		{"readings", func(p *Panel, _ *Fixture) { p.Readings.One = reading.Learned{MM: 1, DF: -5} }, "readings that err by 1 mm with -5 degrees of freedom cannot be: run that study again"},
		{"sensitivity", func(p *Panel, _ *Fixture) {
			p.Models = []Model{{"Model A", []sensitivity.Sensitivity{{SummaryDB: [3]float64{-1}}}}}
		}, "a sensitivity of -1 dB of Model A"},
	} {
		p, f := good, good.Fixture
		p.Bare = append([]Bare(nil), good.Bare...)
		c.change(&p, &f)
		err := p.Check(f, []string{"L01", "L02"})
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if good.Shared(&good) == "" {
		t.Error("the same recordings are not told")
	}
}

// Standard deviations of readings join by their degrees of freedom.
func TestStated(t *testing.T) {
	p := Panel{Readings: Readings{One: reading.Learned{MM: 2, DF: 24}}}
	u := Stated(study.Default().Reading, []Panel{p})
	if want := math.Sqrt((8 + 24*4) / 32.0); math.Abs(u.OneMM-want) > 1e-9 || u.LandmarkMM != 0.7 {
		t.Errorf("%+v, want %.3f mm", u, want)
	}
}

// Bare ears are compared and taken over with the loudspeaker in the same place only.
func TestBarePlaces(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 32))
	front, side := drawPeople(rng, 3), drawPeople(rng, 3) // ears sound otherwise from the side
	record := func(both bool) (out []seat.Seating) {
		for i, p := range []people{side, front} {
			if i == 0 && !both {
				continue
			}
			for _, s := range p.record(rng, 0.3) {
				s.Loudspeaker = []string{"side", "front"}[i]
				s.ID += s.Loudspeaker
				out = append(out, s)
			}
		}
		return out
	}
	before, now := panelOf(record(true), nil), panelOf(record(false), nil)
	if c := Compare(now.Bare, before.Bare, 0.05); len(c.Listeners) != 3 || len(c.Doubts) != 0 || c.Fixture != nil {
		t.Errorf("from the front alone and from two places: %+v", c)
	}
	for i := range now.Bare {
		now.Bare[i].Loudspeaker = "back"
	}
	if c := Compare(now.Bare, before.Bare, 0.05); len(c.Listeners) != 0 {
		t.Errorf("from the back and from two other places: %+v", c)
	}
	worn := seat.Seating{ID: "1", Subject: "L01", Model: "A", Point: capture.Blocked, Number: 1}
	got := map[string]int{}
	ids := map[string]bool{}
	for _, s := range reference([]seat.Seating{worn}, []Panel{before}, nobody) {
		got[s.Subject+" "+s.Loudspeaker]++
		ids[s.ID] = true
	}
	want := map[string]int{"L01 side": 1, "L01 front": 1, capture.FixtureSubject + " side": 1, capture.FixtureSubject + " front": 1}
	if !maps.Equal(got, want) || len(ids) != len(want) {
		t.Errorf("taken over %v (%d IDs), want %v", got, len(ids), want)
	}
}
