package plan

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/fitcorr/sensitivity"
	"asworn/report"
)

func design() Design {
	d := Default()
	d.Models = []string{"Model A", "Model B", "Model C"}
	return d
}

func TestRows(t *testing.T) {
	d := design()
	rows, err := d.Rows()
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]bool{}
	count := map[string]int{}
	for i, r := range rows {
		if r.Row != i+2 {
			t.Fatalf("row %d is numbered %d", i+2, r.Row)
		}
		if files[r.File] {
			t.Errorf("file %s twice", r.File)
		}
		files[r.File] = true
		switch {
		case r.BareEar():
			count["bare ear"]++
		case r.Survey != nil:
			count["survey "+r.Model+" "+string(r.Point)]++
		case r.OnFixture():
			count[fmt.Sprintf("%s %s", r.Model, r.Point)]++
		default:
			count[r.Subject+" "+r.Model]++
		}
	}
	if count["bare ear"] != d.Listeners+1 {
		t.Errorf("%d bare-ear rows, want %d", count["bare ear"], d.Listeners+1)
	}
	for _, m := range d.Models {
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			if got := count["survey "+m+" "+string(p)]; got != len(Displacements()) {
				t.Errorf("%s: %d survey rows at the %s point", m, got, p)
			}
		}
		if count[m+" blocked"] != d.Fixture || count[m+" drum"] != d.Fixture {
			t.Errorf("%s: %d blocked, %d drum rows on the fixture, want %d", m, count[m+" blocked"], count[m+" drum"], d.Fixture)
		}
		for l := 1; l <= d.Listeners; l++ {
			if got := count[fmt.Sprintf("L%02d %s", l, m)]; got != d.Seatings {
				t.Errorf("L%02d %s: %d seatings, want %d", l, m, got, d.Seatings)
			}
		}
	}
}

// A plug at the entrance shuts the canal: the points have placements of their own,
// unless the fixture allows both in one.
func TestPlacementsOfPoints(t *testing.T) {
	for _, one := range []bool{false, true} {
		d := design()
		d.OnePlacement = one
		rows, err := d.Rows()
		if err != nil {
			t.Fatal(err)
		}
		at := map[string]map[capture.Point]bool{}
		for _, r := range rows {
			if r.OnFixture() && r.Model != "" {
				key := fmt.Sprint(r.Model, r.Number)
				if at[key] == nil {
					at[key] = map[capture.Point]bool{}
				}
				at[key][r.Point] = true
			}
		}
		for key, points := range at {
			if (len(points) == 2) != one {
				t.Errorf("one placement %v: %s at %v", one, key, points)
			}
		}
		if want := (len(Displacements()) + d.Fixture) * len(d.Models) * map[bool]int{false: 2, true: 1}[one]; len(at) != want {
			t.Errorf("one placement %v: %d placements, want %d", one, len(at), want)
		}
	}
}

// A smaller survey is a part of a larger one, balanced about the mark; a pilot study with
// one more seating takes half an hour.
func TestDisplacements(t *testing.T) {
	for _, n := range []int{LeastSurvey, 13, len(Displacements())} {
		d := design()
		d.Displacements = n
		rows, err := d.Rows()
		if err != nil {
			t.Fatal(err)
		}
		var sum capture.Displacement
		count := 0
		for _, r := range rows {
			if r.Survey == nil || r.Model != "Model A" || r.Point != capture.Drum {
				continue
			}
			count++
			if !slices.Contains(Displacements()[:n], *r.Survey) {
				t.Errorf("%d displacements: %+v is not of the first %d", n, *r.Survey, n)
			}
			if r.Survey.RotationDeg == 0 {
				sum.ForwardMM += r.Survey.ForwardMM
				sum.UpMM += r.Survey.UpMM
			}
		}
		if count != n || count != d.SurveyRows() || sum != (capture.Displacement{}) {
			t.Errorf("%d rows of %d displacements, sum %+v", count, n, sum)
		}
	}
	for _, n := range []int{-1, LeastSurvey - 1, len(Displacements()) + 1} {
		d := design()
		if d.Displacements = n; d.Validate() == nil {
			t.Errorf("%d displacements are taken", n)
		}
	}
	pilot := design().Pilot()
	pilot.Models = pilot.Models[:1]
	rows, err := pilot.Rows()
	const perRow = 8.5 / 60 // the default sweep: lead, two repeats with gaps
	m := pilot.Minutes(perRow)
	if total := m.Person + m.Fixture + RowMinutes(rows[0], perRow); err != nil || len(rows) != 12 || total > 30 {
		t.Errorf("%d rows and %.1f minutes, %v", len(rows), total, err)
	}
	// What a session says at its start is what the plan said.
	if got := sessionMinutes(rows, perRow, nil); math.Abs(got-m.Person-m.Fixture) > 1e-9 {
		t.Errorf("a session of %.2f minutes, planned %.2f", got, m.Person+m.Fixture)
	}
	if got := sessionMinutes(rows, perRow, []string{"L01"}); math.Abs(got+fitMicrophones-m.Person-m.Fixture) > 1e-9 {
		t.Errorf("%.2f minutes once the listener wears the microphones", got)
	}
}

// Where anything is read the fixture's entrance is found several times; several readings have rows of
// their own, left and right in turn, once per placement.
func TestReadingRows(t *testing.T) {
	d := design()
	d.OnePlacement = true
	rows, _ := d.Rows()
	for _, r := range d.ReadingRows(rows) {
		if r.Model != "" || r.Subject != study.FixtureSubject {
			t.Errorf("one reading stands in the sheet, and yet %+v", r)
		}
	}
	d.Readings = 0
	if got := d.ReadingRows(rows); got != nil {
		t.Errorf("nothing is read, and yet %d rows", len(got))
	}
	d.Readings = 4
	all := d.ReadingRows(rows)
	got := all[FixtureFindings:]
	placements := len(d.Models) * (d.Fixture + len(Displacements()) + d.Listeners*d.Seatings)
	if len(got) != 4*placements || got[0].Side != study.LeftSide || got[1].Side != study.RightSide || got[4].Number == got[0].Number && got[4].Model == got[0].Model {
		t.Errorf("%d rows, want %d: %+v", len(got), 4*placements, got[:5])
	}
}

// More of anything that costs time promises no less, and a plan is the cheapest that
// keeps what is wanted.
func TestForecast(t *testing.T) {
	b, d := DefaultBasis(), design()
	d.Readings = 0
	bare := b.Forecast(d)
	d.Readings = 4
	read := b.Forecast(d)
	d.Displaced = d.Listeners
	displaced := b.Forecast(d)
	if !(bare.Use < read.Use && read.Use < displaced.Use && bare.Move < read.Move && bare.MM > read.MM && read.MM > displaced.MM) {
		t.Errorf("without readings %+v, with four %+v, displaced too %+v", bare, read, displaced)
	}
	d.Survey = false
	if f := b.Forecast(d); f.Use != 0 || !math.IsInf(f.MM, 1) {
		t.Errorf("without a survey: %+v", f)
	}
	const perRow = 0.15
	w := Wanted{Use: 0.25, Move: 0.6, MM: 1.4}
	got, f, ok := b.Cheapest(design(), w, perRow)
	if !ok || !w.met(f) || b.Forecast(got) != f {
		t.Errorf("%+v: %+v, %v", got, f, ok)
	}
	if _, f, ok := b.Cheapest(design(), Wanted{Use: 0.999}, perRow); ok || f.Use <= 0 {
		t.Errorf("promised the impossible: %+v", f)
	}
}

// By hand: five seatings of two models, one reading each.
func TestMinutes(t *testing.T) {
	d := Default()
	d.Models = []string{"Model A", "Model B"}
	m := d.Minutes(0.2)
	if want := 5 * (0.2 + placeOne + readOne); math.Abs(m.Model-want) > 1e-9 {
		t.Errorf("%g minutes per model, want %g", m.Model, want)
	}
	if want := fitMicrophones + bareEarSetup + 0.2 + 2*m.Model; math.Abs(m.Person-want) > 1e-9 {
		t.Errorf("%g minutes per listener, want %g", m.Person, want)
	}
	apart := m.Fixture
	d.OnePlacement = true
	if together := d.Minutes(0.2).Fixture; together >= apart {
		t.Errorf("%g minutes at the fixture in one placement, %g apart", together, apart)
	}
}

// Displaced listeners wear every model four ways off, after their own seatings.
func TestDisplacedListeners(t *testing.T) {
	d := design()
	d.Displaced = 1
	rows, err := d.Rows()
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][]capture.Displacement{}
	for _, r := range rows {
		if r.Survey != nil && !r.OnFixture() {
			if r.Number <= d.Seatings {
				t.Errorf("%s: number %d is that of an ordinary seating", r.File, r.Number)
			}
			got[r.Subject+" "+r.Model] = append(got[r.Subject+" "+r.Model], *r.Survey)
		}
	}
	if len(got) != len(d.Models) {
		t.Errorf("displaced: %v, want L01 with each of %d models", got, len(d.Models))
	}
	for who, where := range got {
		if !strings.HasPrefix(who, "L01 ") {
			t.Errorf("%s is displaced", who)
		}
		var sum capture.Displacement
		for _, v := range where {
			sum.ForwardMM += v.ForwardMM
			sum.UpMM += v.UpMM
		}
		if len(where) != len(OnListener()) || sum != (capture.Displacement{}) {
			t.Errorf("%s: %v", who, where)
		}
	}
	d.Displaced = d.Listeners + 1
	if d.Validate() == nil {
		t.Error("more displaced listeners than listeners are accepted")
	}
}

// The order is drawn, the same for the same seed.
func TestSeedOrdersSeatings(t *testing.T) {
	d := design()
	first, _ := d.Rows()
	again, _ := d.Rows()
	if diff := cmp.Diff(first, again); diff != "" {
		t.Errorf("same seed, other rows:\n%s", diff)
	}
	d.Seed = 2
	other, _ := d.Rows()
	if cmp.Equal(first, other) {
		t.Error("another seed gives the same order")
	}
}

// The survey determines a full quadratic in forward and up and a slope in
// rotation, well conditioned when coordinates are scaled to ±1.
func TestDisplacementsDetermineQuadratic(t *testing.T) {
	all := Displacements()
	if len(all) < 13 {
		t.Fatalf("%d displacements", len(all))
	}
	x := mat.NewDense(len(all), 8, nil)
	for i, d := range all {
		if math.Abs(d.ForwardMM) > 8 || math.Abs(d.UpMM) > 8 {
			t.Errorf("%+v is outside ±8 mm", d)
		}
		f, u, r := d.ForwardMM/8, d.UpMM/8, d.RotationDeg/8
		x.SetRow(i, []float64{1, f, u, r, f * f, u * u, f * u, r * r})
	}
	var svd mat.SVD
	if !svd.Factorize(x, mat.SVDNone) {
		t.Fatal("no factorization")
	}
	if c := svd.Cond(); c > 10 {
		t.Errorf("condition number %.1f, want at most 10", c)
	}
}

func TestValidate(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Design)
	}{
		{"no model", func(d *Design) { d.Models = nil }},
		{"nameless", func(d *Design) { d.Models = []string{"--"} }},
		{"same file name", func(d *Design) { d.Models = []string{"Model A", "model-a"} }},
		{"listeners", func(d *Design) { d.Listeners = -1 }},
		{"seatings", func(d *Design) { d.Seatings = 0 }},
		{"fixture", func(d *Design) { d.Fixture = -1 }},
		{"repeats", func(d *Design) { d.Repeats = 0 }},
	} {
		d := design()
		c.change(&d)
		if _, err := d.Rows(); err == nil {
			t.Errorf("%s: no error", c.name)
		}
	}
}

// earlier is a study with a survey and a panel.
func earlier() report.Results {
	worn := &fitcorr.Worn{Listeners: 8, Seatings: 40, BetweenSD: [3]float64{1.7, 1.2}, WithinSD: [3]float64{1.2, 0.7}}
	worn.Mean.Seen = [3]bool{true, true, false}
	return report.Results{Analysis: fitcorr.Analysis{Models: []fitcorr.ModelAnalysis{
		{Model: "Model A", Worn: worn, Survey: [2]*fitcorr.SurveyReport{
			{Displacements: 9, HeldOutMM: [3]float64{0.8, 0.4}}, {Displacements: 9, HeldOutMM: [3]float64{0.6, 1.0}}}},
		{Model: "Model B"},
	}}}
}

func TestPanels(t *testing.T) {
	plans, err := Panels(earlier(), 2)
	if err != nil {
		t.Fatal(err)
	}
	// The panel keeps its promise for the larger of the two scatters.
	spread := sensitivity.Spread{Between: 1.7, Within: 1.2}
	for _, p := range plans {
		if w := sensitivity.DefaultPlanOptions().HalfWidth(spread, p.Listeners, p.Seatings); w > 2 {
			t.Errorf("%+v reaches ±%.2f mm only", p, w)
		}
	}
	if _, err := Panels(report.Results{}, 2); err == nil {
		t.Error("a plan from a study without a panel")
	}
}

func TestOutlooks(t *testing.T) {
	got := Outlooks(earlier(), 36)
	want := []Outlook{{Model: "Model A", Displacements: 9, MM: [2]float64{0.4, 0.5}}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func ExampleDesign_Rows() {
	d := Default()
	d.Models, d.Listeners, d.Seatings, d.Fixture, d.Survey = []string{"Model A"}, 1, 2, 1, false
	rows, err := d.Rows()
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, r := range rows {
		fmt.Println(r.Row, r.File, r.Subject, r.Point == capture.Blocked)
	}
	// Output:
	// 2 recordings/fixture-bare-ear.wav fixture true
	// 3 recordings/fixture-model-a-01-blocked.wav fixture true
	// 4 recordings/fixture-model-a-02-drum.wav fixture false
	// 5 recordings/L01-bare-ear.wav L01 true
	// 6 recordings/L01-model-a-01.wav L01 true
	// 7 recordings/L01-model-a-02.wav L01 true
}

// A plan in dB goes by the RMS scatter of levels over bands, of the worst model.
func TestLevelPanels(t *testing.T) {
	scattering := func(between, within float64) fitcorr.Sensitivity {
		f := fitcorr.Sensitivity{Point: capture.Blocked, PanelValid: slices.Repeat([]bool{true}, band.Thirds)}
		for b := range band.Thirds {
			k := 1.0
			if third := band.AllThirds()[b]; third.Mid < 49 || third.Mid > 10100 {
				k = 10 // has no say
			}
			f.Between = append(f.Between, fitcorr.Component{SD: k * between})
			f.Within = append(f.Within, fitcorr.Component{SD: k * within})
		}
		f.Influence = []fitcorr.Influence{{Shift: 0.1}, {Shift: -0.1}, {Shift: 0.05}, {Shift: -0.05}}
		return f
	}
	var r report.Results
	r.Analysis.Models = []fitcorr.ModelAnalysis{
		{Model: "Model A", Sensitivity: []fitcorr.Sensitivity{scattering(1, 0.5)}},
		{Model: "Model B", Sensitivity: []fitcorr.Sensitivity{scattering(2, 0.25)}},
	}
	got, err := LevelPanels(r, 1)
	if err != nil {
		t.Fatal(err)
	}
	want, err := sensitivity.DefaultPlanOptions().Plans(sensitivity.Spread{Between: 2, Within: 0.5}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got, cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })); d != "" {
		t.Error(d)
	}
	if few, many := FigureFactor(r, 4), FigureFactor(r, 16); !(few > many && many > 1) {
		t.Errorf("factors %g with 4 listeners, %g with 16", few, many)
	}
	if _, err := LevelPanels(report.Results{}, 1); err == nil || FigureFactor(report.Results{}, 8) != 0 {
		t.Errorf("planned from nothing: %v", err)
	}
}

// One more listener wears each model once a round and each displacement once, as the one
// whose rows were taken, in an order that another id, or another plan, does not share; the
// same id has the same.
func TestRedrawn(t *testing.T) {
	d := design()
	d.Displaced = d.Listeners
	words := func(rows []capture.Seating, byRound bool) (out []string) {
		for _, r := range rows {
			if r.Displaced() {
				out = append(out, fmt.Sprint(r.Model, " displaced ", *r.Survey))
			} else {
				out = append(out, fmt.Sprint(r.Model, r.Number))
			}
		}
		if byRound {
			slices.Sort(out)
		}
		return out
	}
	of := func(seed uint64) (rows []capture.Seating) {
		d.Seed = seed
		all, err := d.Rows()
		if err != nil {
			t.Fatal(err)
		}
		return slices.DeleteFunc(all, func(r capture.Seating) bool { return r.Subject != "L01" })
	}
	like := of(1)
	seen := map[string]string{fmt.Sprint(words(like, false)): "L01"}
	first := map[string]int{} // which model a round begins with, and which way of displacing
	for n := 9; n < 69; n++ {
		id := fmt.Sprintf("L%02d", n)
		got := Redrawn(like, id)
		if diff := cmp.Diff(words(like, true), words(got, true)); diff != "" {
			t.Fatalf("%s has other rows: %s", id, diff)
		}
		if diff := cmp.Diff(got, Redrawn(like, id)); diff != "" {
			t.Fatalf("%s twice: %s", id, diff)
		}
		for i, r := range got {
			if r.BareEar() != like[i].BareEar() || r.Number != like[i].Number || r.Displaced() && r.File != like[i].File {
				t.Fatalf("%s: row %d is %s, seating %d, where L01 has %s, seating %d", id, i, r.File, r.Number, like[i].File, like[i].Number)
			}
		}
		order := fmt.Sprint(words(got, false))
		if seen[order] != "" {
			t.Errorf("%s has the order of %s", id, seen[order])
		}
		seen[order] = id
		first[got[1].Model]++
		first[fmt.Sprint(*got[len(got)-4].Survey)]++
	}
	for what, n := range first { // 20 of 60 are expected, or 15
		if n < 6 || n > 34 {
			t.Errorf("%s comes first %d times of 60", what, n)
		}
	}
	if len(first) != 7 {
		t.Errorf("first come %v, want each of three models and four displacements now and then", first)
	}
	if a, b := Redrawn(of(2), "L09"), Redrawn(like, "L09"); slices.Equal(words(a, false), words(b, false)) {
		t.Error("L09 has the same order in a plan of another seed")
	}
}
