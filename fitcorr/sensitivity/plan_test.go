package sensitivity

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/varcomp"
)

// Studies run to a plan keep its half-width as often as the plan assures, and
// their intervals cover the mean as often as they say.
func TestPlanKeepsItsPromise(t *testing.T) {
	o := DefaultPlanOptions()
	s := Spread{Between: 1.5, Within: 1}
	plans, err := o.Plans(s, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range plans {
		if p.HalfWidth > 1 || o.HalfWidth(s, p.Listeners-1, p.Seatings) <= 1 {
			t.Errorf("plan %+v is not the smallest", p)
		}
	}
	p := plans[0]
	rng := rand.New(rand.NewPCG(4, 4))
	var label []int
	for i := range p.Listeners {
		for range p.Seatings {
			label = append(label, i)
		}
	}
	d, err := varcomp.Nested(label)
	if err != nil {
		t.Fatal(err)
	}
	const runs = 2000
	kept, covered := 0, 0
	y := make([]float64, len(label))
	for range runs {
		for i := range p.Listeners {
			b := s.Between * rng.NormFloat64()
			for j := range p.Seatings {
				y[i*p.Seatings+j] = b + s.Within*rng.NormFloat64()
			}
		}
		f, err := d.Fit(y)
		if err != nil {
			t.Fatal(err)
		}
		half := stats.StudentQuantile(0.975, f.MeanDF) * f.MeanSE
		if half <= 1 {
			kept++
		}
		if math.Abs(f.Mean) <= half {
			covered++
		}
	}
	k, c := float64(kept)/runs, float64(covered)/runs
	t.Logf("%+v: kept %.3f, covered %.3f", p, k, c)
	if k < 0.78 || k > 0.90 || c < 0.93 || c > 0.97 {
		t.Errorf("%+v: kept in %.3f of studies, covers %.3f", p, k, c)
	}
}

func TestPlanRefusals(t *testing.T) {
	o := DefaultPlanOptions()
	for _, tc := range []struct {
		s    Spread
		want float64
	}{{Spread{10, 1}, 0.1}, {Spread{1, 1}, 0}, {Spread{-1, 1}, 1}, {Spread{math.NaN(), 1}, 1}, {Spread{1, math.Inf(1)}, 1}} {
		if p, err := o.Plans(tc.s, tc.want); err == nil {
			t.Errorf("%+v ±%g: planned %+v", tc.s, tc.want, p)
		}
	}
	if !math.IsInf(o.HalfWidth(Spread{1, 1}, 1, 5), 1) {
		t.Error("one listener is no panel")
	}
}

// contender simulates one model worn by a panel of its own; only the figure
// is computed.
func contender(rng *rand.Rand, study, model string, c scatter) Contender {
	s := Sensitivity{Listeners: c.listeners, Within: []Component{}}
	summarise(&s, c.drawPanel(rng), fitPanel{}, nil, 0.95)
	return Contender{Study: study, Model: model, Ears: []Sensitivity{s}}
}

// Of two models alike, each is called the less sensitive at 95 % about as
// often as chance has it; of two unlike, the right one nearly always.
func TestRankIsCalibrated(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	const runs = 200
	rng := rand.New(rand.NewPCG(8, 8))
	opt := seat.DefaultOptions()
	opt.Bootstrap = 1000
	small := scatter{listeners: 8, seatings: 3, between: 1, within: 0.7}
	large := scatter{listeners: 8, seatings: 3, between: 3, within: 2}
	sure, right := 0, 0
	for range runs {
		r := Rank([]Contender{contender(rng, "one", "A", small), contender(rng, "two", "B", small)}, opt)
		if p := r[0].Less[1]; p > 0.975 {
			sure++
		}
		r = Rank([]Contender{contender(rng, "one", "A", large), contender(rng, "two", "B", small)}, opt)
		if r[0].Model == "B" && r[0].Less[1] > 0.975 && r[0].RankLow == 1 && r[0].RankHigh == 1 {
			right++
		}
	}
	t.Logf("alike but told apart %.3f, unlike and told apart %.3f", float64(sure)/runs, float64(right)/runs)
	if f := float64(sure) / runs; f > 0.11 {
		t.Errorf("models alike are told apart in %.3f of studies, want about 0.05", f)
	}
	if f := float64(right) / runs; f < 0.9 {
		t.Errorf("models three times as sensitive are told apart in %.3f of studies", f)
	}
}

// A shared panel's common scatter does not blur the order.
func TestRankSharedPanel(t *testing.T) {
	var a, b Sensitivity
	a.SummaryDB[0], b.SummaryDB[0] = 1.0, 1.1
	for i, shift := range []float64{0.3, -0.2, 0.1, -0.25, 0.05, 0.2, -0.1, -0.1} {
		l := fmt.Sprintf("L%02d", i+1)
		a.Influence = append(a.Influence, Influence{l, shift})
		b.Influence = append(b.Influence, Influence{l, shift + 0.002*float64(i)})
	}
	opt := seat.DefaultOptions()
	together := Rank([]Contender{{Study: "one", Model: "A", Ears: []Sensitivity{a}}, {Study: "one", Model: "B", Ears: []Sensitivity{b}}}, opt)
	apart := Rank([]Contender{{Study: "one", Model: "A", Ears: []Sensitivity{a}}, {Study: "two", Model: "B", Ears: []Sensitivity{b}}}, opt)
	if together[0].Less[1] < 0.95 || apart[0].Less[1] > 0.75 {
		t.Errorf("same panel %.3f, different panels %.3f", together[0].Less[1], apart[0].Less[1])
	}
	remembered := Rank([]Contender{{Study: "one", Panel: "0", Model: "A", Ears: []Sensitivity{a}}, {Study: "two", Panel: "0", Model: "B", Ears: []Sensitivity{b}}}, opt)
	if remembered[0].Less[1] != together[0].Less[1] {
		t.Errorf("the same panel in two studies %.3f, in one %.3f", remembered[0].Less[1], together[0].Less[1])
	}
	twice := Rank([]Contender{{Study: "one", Panel: "0", Model: "A", Ears: []Sensitivity{a}}, {Study: "two", Panel: "0", Model: "A", Ears: []Sensitivity{a}}}, opt)
	if twice[0].Less[1] != 0.5 {
		t.Errorf("a study and its copy: %.3f, want one half", twice[0].Less[1])
	}
	again := Rank([]Contender{{Study: "one", Model: "A", Ears: []Sensitivity{a}}, {Study: "one", Model: "B", Ears: []Sensitivity{b}}}, opt)
	if fmt.Sprint(again) != fmt.Sprint(together) {
		t.Error("the same seed gives another ranking")
	}
}

// Models without a figure come last, those without an interval say nothing.
func TestRankWithoutFigures(t *testing.T) {
	one := Sensitivity{SummaryDB: [3]float64{2, 0, 0}}
	r := Rank([]Contender{{Study: "s", Model: "none", Ears: nil}, {Study: "s", Model: "bare", Ears: []Sensitivity{one}}}, seat.DefaultOptions())
	if r[0].Model != "bare" || r[0].Rank != 1 || r[0].Less[1] != 0.5 || r[1].Rank != 0 || r[1].RankLow != 0 {
		t.Errorf("%+v", r)
	}
	if Rank(nil, seat.DefaultOptions()) == nil {
		t.Error("no contenders: want an empty ranking")
	}
}

// Without any panel the figure of repeatability is compared, with the seatings
// on the fixture as units.
func TestRankOnAFixtureAlone(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 9))
	var cs []Contender
	for i, sd := range []float64{2, 0.5, 0.55} {
		ss := scatter{fixture: 10, onFixture: sd}.draw(rng, capture.Drum)
		for j := range ss {
			ss[j].ID = fmt.Sprint(i, ss[j].ID)
		}
		cs = append(cs, Contender{Study: "s", Model: fmt.Sprint("Model ", i), Ears: Of(ss, nil, seat.DefaultOptions())})
	}
	r := Rank(cs, seat.DefaultOptions())
	if r[0].Figure != ByRepeatability || r[2].Model != "Model 0" || r[2].RankLow != 3 || r[0].Less[2] < 0.99 {
		t.Errorf("%+v", r)
	}
	if r[0].Less[1] > 0.975 || r[0].SummaryDB[2] <= r[0].SummaryDB[0] {
		t.Errorf("two alike are told apart: %+v", r[:2])
	}
}

// More listeners narrow the figure's interval, and the study's own number
// gives the study's own interval.
func TestSummaryFactor(t *testing.T) {
	s := contender(rand.New(rand.NewPCG(3, 1)), "s", "A", scatter{listeners: 8, seatings: 4, between: 1, within: 1}).Ears[0]
	own := s.SummaryDB[2] / s.SummaryDB[0]
	if got := s.SummaryFactor(8, 0.95); math.Abs(got-own) > 1e-9 {
		t.Errorf("factor %.4f, the study's own %.4f", got, own)
	}
	if s.SummaryFactor(16, 0.95) >= own || s.SummaryFactor(4, 0.95) <= own {
		t.Error("the factor must fall with listeners")
	}
}

func ExamplePlanOptions_Plans() {
	// An earlier study: 1.5 dB between listeners, 1 dB between seatings.
	plans, err := DefaultPlanOptions().Plans(Spread{Between: 1.5, Within: 1}, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range plans[:3] {
		fmt.Printf("%d listeners, %d seatings each: ±%.2f dB\n", p.Listeners, p.Seatings, p.HalfWidth)
	}
	// Output:
	// 17 listeners, 2 seatings each: ±0.96 dB
	// 16 listeners, 3 seatings each: ±0.97 dB
	// 15 listeners, 4 seatings each: ±1.00 dB
}
