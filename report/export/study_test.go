package export

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/hdf5"
	"asworn/capture/wavfile"
	"asworn/fitcorr"
	"asworn/report"
)

// A corrected ear gets its correction where it was applied and 0 dB elsewhere,
// the other ear a plain pulse, and a seating that was not corrected no file.
func TestCorrections(t *testing.T) {
	c := fitcorr.Correction{ID: "recordings/f 1.wav", Point: capture.Blocked, Ear: capture.Right,
		DeltaDB: make([]float64, band.Count), Applied: make([]bool, band.Count)}
	withheld := fitcorr.Correction{ID: "recordings/f2.wav", Point: capture.Blocked, Ear: capture.Left,
		DeltaDB: make([]float64, band.Count), Applied: make([]bool, band.Count)}
	for b, edges := range band.All() {
		c.DeltaDB[b], withheld.DeltaDB[b] = 2, 2
		c.Applied[b] = edges.Mid > 1000 && edges.Mid < 8000
	}
	dir := t.TempDir()
	files, err := Corrections(dir, report.Results{Analysis: fitcorr.Analysis{Models: []fitcorr.ModelAnalysis{
		{Model: "Model A", Corrections: []fitcorr.Correction{c, withheld}}}}}, 48000)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"recordings-f-1-blocked-minimum-phase-48000hz.wav", "recordings-f-1-blocked-linear-phase-48000hz.wav"}
	if len(files) != 2 || filepath.Base(files[0]) != want[0] || filepath.Base(files[1]) != want[1] {
		t.Fatalf("files %v", files)
	}
	for _, file := range files {
		_, ch, err := wavfile.ReadAll(file)
		if err != nil {
			t.Fatal(err)
		}
		left, right := Filter{Taps: ch[0], RateHz: 48000}, Filter{Taps: ch[1], RateHz: 48000}
		for hz, want := range map[float64]float64{100: 0, 2000: 2, 4000: 2, 15000: 0} {
			if math.Abs(right.LevelDB(hz)-want) > 0.05 || math.Abs(left.LevelDB(hz)) > 0.001 {
				t.Errorf("%s at %g Hz: left %.3f, right %.3f dB, want 0 and %g", file, hz, left.LevelDB(hz), right.LevelDB(hz), want)
			}
		}
	}
}

// Seatings of one model, subject and point share a file; surveys, bare ears
// and refused recordings are left out; lengths are made alike.
func TestHeadphones(t *testing.T) {
	rec := func(file, model, subject string, number int) report.Recording {
		return report.Recording{Usable: true, Seating: capture.Seating{File: file, Model: model, Subject: subject, Point: capture.Blocked, Number: number}}
	}
	survey := rec("s.wav", "Model A", capture.FixtureSubject, 9)
	survey.Survey = &capture.Displacement{UpMM: 4}
	refused := rec("x.wav", "Model A", "L01", 3)
	refused.Usable = false
	r := report.Results{Title: "Study", Fixture: "fixture 1", LevelUnit: "dB re 1 Pa/V", Recordings: []report.Recording{
		rec("a.wav", "Model A", "L01", 1), rec("b.wav", "Model A", "L01", 2), refused, survey,
		rec("f.wav", "Model A", capture.FixtureSubject, 1), rec("bare.wav", "", "L01", 1), rec("none.wav", "Model A", "L02", 1)}}
	impulses := func(rec report.Recording) (Pair, error) {
		switch rec.File {
		case "none.wav":
			return Pair{}, nil
		case "b.wav":
			return Pair{RateHz: 48000, Ears: [2][]float64{{5, 6}, {7, 8}}, Start: [2]float64{-236, -226}, Common: true}, nil
		}
		return Pair{RateHz: 48000, Ears: [2][]float64{{1, 2, 3}, {4, 5, 6}}, Start: [2]float64{-240, -230}, Common: true}, nil
	}
	dir := t.TempDir()
	files, err := Headphones(dir, r, impulses, HeadphoneSet{Version: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != 2 || filepath.Base(files[0]) != "Model-A-L01-blocked.sofa" || filepath.Base(files[1]) != "Model-A-fixture-blocked.sofa" {
		t.Fatalf("files %v", files)
	}
	b, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	f, err := hdf5.Read(b)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string][]float64{"Data.IR": {1, 2, 3, 4, 5, 6, 5, 6, 0, 7, 8, 0}, "Data.Delay": {0, 10, 4, 14}} {
		d, err := f.Dataset(name)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := d.Values(); err != nil || !slices.Equal(got, want) {
			t.Errorf("%s is %v of %v, %v, want %v", name, got, d.Shape, err, want)
		}
	}
	text, err := f.Text("Comment")
	if err != nil || strings.Contains(text, "x.wav") || !strings.Contains(text, "measurement 2: seating 2, b.wav") ||
		!strings.Contains(text, "-240 samples after the loopback") {
		t.Errorf("the comment does not tell the seatings: %q, %v", text, err)
	}
}

// Bare ears whose loudspeaker's place says a direction are a set of their own.
func TestBareEars(t *testing.T) {
	rec := func(file, subject, place string) report.Recording {
		return report.Recording{Usable: true, Seating: capture.Seating{File: file, Subject: subject, Point: capture.Blocked, Number: 1, Loudspeaker: place}}
	}
	r := report.Results{Title: "Study", Recordings: []report.Recording{rec("a.wav", "L01", "Right 30°"), rec("b.wav", "L01", "front"), rec("c.wav", "L01", "by the door"), rec("d.wav", "L02", "")}}
	files, err := Headphones(t.TempDir(), r, func(report.Recording) (Pair, error) {
		return Pair{RateHz: 48000, Ears: [2][]float64{{1, 2}, {3, 4}}}, nil
	}, HeadphoneSet{Version: "test"})
	if err != nil || len(files) != 1 || filepath.Base(files[0]) != "bare-ears-L01-blocked.sofa" {
		t.Fatalf("files %v, %v", files, err)
	}
	b, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	f, err := hdf5.Read(b)
	if err != nil {
		t.Fatal(err)
	}
	d, err := f.Dataset("SourcePosition")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := d.Values(); err != nil || !slices.Equal(got, []float64{330, 0, 1, 0, 0, 1}) {
		t.Errorf("the loudspeaker stands at %v, %v", got, err)
	}
	if text, err := f.Text("Comment"); err != nil || !strings.Contains(text, "measurement 1: loudspeaker at 330 degrees, a.wav") || !strings.Contains(text, "1 m stands for it") {
		t.Errorf("comment %q, %v", text, err)
	}
}

func TestDirection(t *testing.T) {
	for place, want := range map[string]float64{"front": 0, " Left 60° ": 60, "left": 90, "right 22.5 deg": 337.5, "right 0": 0, "back": 180,
		"": -1, "left 200": -1, "front 3": -1, "+30°": -1, "left of the door": -1} {
		if got, ok := direction(place); ok != (want >= 0) || ok && got != want {
			t.Errorf("%q: %g, %v, want %g", place, got, ok, want)
		}
	}
}

// Every usable recording with responses gets a file of its own, with its interaural time.
func TestImpulses(t *testing.T) {
	r := report.Results{Recordings: []report.Recording{
		{Usable: true, Seating: capture.Seating{File: "recordings/a 1.wav"}}, {Seating: capture.Seating{File: "rejected.wav"}},
		{Usable: true, Seating: capture.Seating{File: "recordings/a-1.wav"}}, {Usable: true, Seating: capture.Seating{File: "none.wav"}}}}
	dir := t.TempDir()
	files, err := Impulses(dir, r, func(rec report.Recording) (Pair, error) {
		if rec.File == "none.wav" {
			return Pair{}, nil
		}
		return Pair{RateHz: 48000, Ears: [2][]float64{{1, 0.5}, {0.25, 0}}, Start: [2]float64{-236, -233}}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != 2 || filepath.Base(files[0]) != "recordings-a-1.wav" || filepath.Base(files[1]) != "recordings-a-1-2.wav" {
		t.Fatalf("files %v", files)
	}
	// The right ear begins three samples later.
	if _, ch, err := wavfile.ReadAll(files[1]); err != nil || !slices.Equal(ch[0], []float64{1, 0.5, 0, 0, 0}) || !slices.Equal(ch[1], []float64{0, 0, 0, 0.25, 0}) {
		t.Errorf("%v, %v", ch, err)
	}
}

// Names that would fall together are kept apart.
func TestFileNames(t *testing.T) {
	n := make(namer)
	for _, c := range [][2]string{{"a/b.wav", "a-b"}, {"a b", "a-b-2"}, {"A-B", "A-B-3"}, {"../ü", "unnamed"}, {"", "unnamed-2"}} {
		if got := n.file(c[0]); got != c[1] {
			t.Errorf("%q becomes %q, want %q", c[0], got, c[1])
		}
	}
}
