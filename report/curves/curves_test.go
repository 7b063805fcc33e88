package curves

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/internal/sample"
	"asworn/report/judged"
)

func flat(db, se float64) fitcorr.Curve {
	return fitcorr.Curve{LevelDB: []float64{db, db}, StdErrDB: []float64{se, se}, Valid: []bool{true, db < 50}}
}

func oneModel() report.Results {
	r := report.Results{BandsHz: []float64{100, 200}, ReferenceDB: []float64{10, 10}, LevelUnit: study.RelativeLevel,
		Options: report.Options{Limits: study.Limits{Confidence: 0.95, MaxOffsetMM: 3}}}
	add := func(subject string, p capture.Point, number int, db float64) string {
		file := subject + string(p) + strconv.Itoa(number) + ".wav"
		r.Recordings = append(r.Recordings, report.Recording{Usable: true, Ears: [2]fitcorr.Curve{flat(db, 0.1), flat(db+1, 0.1)},
			Seating: capture.Seating{File: file, Model: "Model A", Subject: subject, Point: p, Number: number}})
		return file
	}
	id := add(capture.FixtureSubject, capture.Drum, 1, 1)
	add(capture.FixtureSubject, capture.Drum, 2, 3)
	add("L01", capture.Blocked, 1, 5)
	r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: "Model A", Corrections: []fitcorr.Correction{{ID: id, Point: capture.Drum, Ear: capture.Left,
		DeltaDB: []float64{2, 0}, StdErrDB: []float64{0.5, 0}, Applied: []bool{true, false}}}}}
	return r
}

func TestOf(t *testing.T) {
	got := map[string]Curve{}
	for _, c := range Of(judged.Of(oneModel())) {
		got[c.Name] = c
	}
	for _, c := range []struct {
		name     string
		db, half float64
	}{
		{"model-a-drum-left-raw", 2, 12.706 * math.Sqrt2 / math.Sqrt2}, // t of one degree of freedom, s = √2, n = 2
		{"model-a-drum-left-raw-compensated", -8, 12.706},
		{"model-a-drum-left-seating-001-raw", 1, 0.196},
		{"model-a-drum-left-seating-001-corrected", 3, 1.96 * math.Hypot(0.1, 0.5)},
		{"model-a-drum-left-seating-001-corrected-compensated", -7, 1.96 * math.Hypot(0.1, 0.5)},
		{"model-a-l01-blocked-right", 6, 0.196},
	} {
		if g, ok := got[c.name]; !ok || math.Abs(g.DB[0]-c.db) > 1e-9 || math.Abs(g.Half[0]-c.half) > 2e-3 {
			t.Errorf("%s: %v ± %v, want %g ± %.3f", c.name, g.DB, g.Half, c.db, c.half)
		}
	}
	if _, ok := got["model-a-drum-right-seating-001-corrected"]; ok {
		t.Error("a corrected curve of an ear that was not corrected")
	}
}

// A file is read again as a curve of the study format, whatever the model is called, and
// each file has a name of its own.
func TestFilesAreCurves(t *testing.T) {
	r := judged.Of(sample.NastyResults())
	seen := map[string]bool{}
	for _, c := range append(Of(r), Of(judged.Of(oneModel()))...) {
		if seen[c.Name] || strings.ContainsAny(c.Name, "/\\ .") {
			t.Errorf("name %q", c.Name)
		}
		seen[c.Name] = true
		var b bytes.Buffer
		if err := c.Write(&b); err != nil {
			t.Fatal(err)
		}
		_, body, _ := strings.Cut(b.String(), "frequency_hz")
		rows, err := csv.NewReader(strings.NewReader("frequency_hz" + body)).ReadAll()
		if err != nil || len(rows) != len(c.Hz)+1 {
			t.Fatalf("%s: %d rows, %v", c.Name, len(rows), err)
		}
		for i, row := range rows[1:] {
			for k, want := range []float64{c.Hz[i], c.DB[i], c.DB[i] - c.Half[i], c.DB[i] + c.Half[i]} {
				if v, err := strconv.ParseFloat(row[k], 64); err != nil || math.Abs(v-want) > max(0.05*c.Half[i], 0.006)+1e-5*math.Abs(want) {
					t.Fatalf("%s, row %d: %q, want %g", c.Name, i, row[k], want)
				}
			}
		}
	}
	if len(seen) < 10 {
		t.Errorf("%d curves", len(seen))
	}
}
