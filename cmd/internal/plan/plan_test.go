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
			count["survey "+r.Model]++
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
		if got := count["survey "+m]; got != len(Displacements()) {
			t.Errorf("%s: %d survey rows", m, got)
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
	// 4 recordings/fixture-model-a-01-drum.wav fixture false
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
