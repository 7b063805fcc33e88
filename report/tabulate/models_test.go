package tabulate

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/fitcorr/panel"
	"asworn/report"
	"asworn/report/internal/sample"
	"asworn/report/judged"
	"asworn/report/table"
)

// TestModelTableMeans: the panel's and the people's mean stand in their own
// columns, each with its own degrees of freedom.
func TestModelTableMeans(t *testing.T) {
	r := report.Results{Options: report.Options{Limits: study.Limits{Confidence: 0.95}}}
	w := &fitcorr.Worn{Mean: sample.Estimate([3]float64{1.5, -1, 2}, 0.5, true), People: sample.Estimate([3]float64{1.2, -0.8, 1.6}, 0.5, false),
		BetweenSD: [3]float64{1.8, 1.7, 2.1}, WithinSD: [3]float64{1.2, 0.8, 7}}
	w.People.DF = 7
	r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: "Model A", Worn: w}}
	tab := modelTable(judged.Of(r))
	if got := []string{tab.Columns[2].Key, tab.Columns[3].Key}; !cmp.Equal(got, []string{"sample_mean", "population_mean"}) {
		t.Fatalf("columns %v", got)
	}
	var got [][2]string
	for _, row := range tab.Rows {
		got = append(got, [2]string{row[2].Text, row[3].Text})
	}
	// 1.960 and t(0.975; 7) = 2.365 standard errors of 0.5.
	want := [][2]string{{"1.5 ± 1.0", "1.2 ± 1.2"}, {"−1.0 ± 1.0", "−0.8 ± 1.2"}, {"2.0 ± 1.0", "–"}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if row := tab.Rows[2]; row[4].Text != "2.1" || row[5].Text != "7.0" {
		t.Errorf("scatter on a seen axis: %q, %q", row[4].Text, row[5].Text)
	}
	w.Mean.Seen[fitcorr.Rotation] = false
	if row := modelTable(judged.Of(r)).Rows[2]; row[4].Text != table.None().Text || row[5].Text != table.None().Text {
		t.Errorf("scatter on an axis that is not seen: %q, %q", row[4].Text, row[5].Text)
	}
}

func TestModelTableNotes(t *testing.T) {
	const (
		told = "What told ear shape from position: "
		hint = "reading them is what narrows the intervals most"
	)
	read := func(n int) *fitcorr.Readings {
		return &fitcorr.Readings{Worn: n, OnFixture: 21, OneMM: 0.94, LandmarkMM: 0.72}
	}
	all := []panel.Separation{"read positions", "bare-ear reference", "shared panel", "displaced listeners", "prior"}
	for _, c := range []struct {
		name  string
		worn  []*fitcorr.Worn // Model A, B, …
		sheet string          // model with a read row
		want  []string
		lack  []string
	}{
		{"no panel", []*fitcorr.Worn{nil}, "", nil, []string{told, hint, "Positions read"}},
		{"read, all alike", []*fitcorr.Worn{{Separation: all, Readings: read(39)}, {Separation: all, Readings: read(40)}}, "Model A",
			[]string{told + "positions read off heads, the bare-ear reference, listeners who wore several models, listeners who wore it displaced on purpose, an assumption of how ears differ.",
				"Positions read: 79 on listeners, 42 on the fixture; one reading errs by 0.9 mm, the landmark of a head by 0.7 mm"},
			[]string{hint, "Model A:"}},
		{"nothing read", []*fitcorr.Worn{{Separation: []panel.Separation{"prior"}}}, "",
			[]string{told + "an assumption of how ears differ alone.", "No positions were read off heads; " + hint + " (docs/study-format.md, \"Read positions\")."},
			[]string{"Positions read:"}},
		{"models differ", []*fitcorr.Worn{{Separation: []panel.Separation{"read positions", "prior"}, Readings: read(5)}, {Separation: []panel.Separation{"something new"}}}, "Model A",
			[]string{told + "Model A: positions read off heads, an assumption of how ears differ; Model B: something new alone.",
				"Positions read: 5 on listeners", "No positions were read off heads with Model B; " + hint}, nil},
		{"read, but of no use", []*fitcorr.Worn{{Separation: []panel.Separation{"prior"}}}, "Model A", nil, []string{hint, "Positions read:"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var r report.Results
			for i, w := range c.worn {
				r.Analysis.Models = append(r.Analysis.Models, fitcorr.ModelAnalysis{Model: "Model " + string(rune('A'+i)), Worn: w})
			}
			if c.sheet != "" {
				r.Recordings = []report.Recording{{Seating: capture.Seating{Model: c.sheet, Read: &capture.Reading{}}}}
			}
			note := modelTable(judged.Of(r)).Note
			for _, want := range c.want {
				if !strings.Contains(note, want) {
					t.Errorf("lacks %q: %s", want, note)
				}
			}
			for _, lack := range c.lack {
				if strings.Contains(note, lack) {
					t.Errorf("holds %q: %s", lack, note)
				}
			}
		})
	}
}

// TestDistanceCell: a distance stands with its limits, even or not.
func TestDistanceCell(t *testing.T) {
	for _, c := range []struct {
		d    [3]float64
		want string
	}{
		{[3]float64{1.8, 0, 3.7}, "1.8 (0.0…3.7)"}, {[3]float64{0.4, 0, 2.3}, "0.4 (0.0…2.3)"}, {[3]float64{7.1, 3.9, 10.3}, "7.1 (3.9…10.3)"},
	} {
		if got := distanceCell(c.d); got.Text != c.want || !cmp.Equal(got.Num, c.d[:]) {
			t.Errorf("%v: %q %v, want %q", c.d, got.Text, got.Num, c.want)
		}
	}
}

// TestOpenModelHasNoLeakExcess: where there is no seal to judge there is no
// excess of zero either.
func TestOpenModelHasNoLeakExcess(t *testing.T) {
	r := sample.Results()
	m := &r.Analysis.Models[2]
	for i := range m.Verdicts {
		for e := range m.Verdicts[i].Ears {
			m.Verdicts[i].Ears[e].Seal = fitcorr.SealAsWorn
		}
	}
	for _, row := range fixtureOffsetTable(judged.Of(r)).Rows {
		if got := row[7].Text; (row[0].Text == m.Model) != (got == table.None().Text) {
			t.Errorf("%s, seating %s: leak excess %q", row[0].Text, row[1].Text, got)
		}
	}
}
