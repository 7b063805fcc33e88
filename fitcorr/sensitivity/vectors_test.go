package sensitivity_test

import (
	"math"
	"path/filepath"
	"strconv"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/wavfile"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
	"asworn/testdata/vectors"
)

// reseated returns ten real seatings on a manikin (testdata/reseat, unit B).
func reseated(t testing.TB) []seat.Seating {
	t.Helper()
	files, err := filepath.Glob(filepath.FromSlash("../../testdata/reseat/unit-b/impulse-*.wav"))
	if err != nil || len(files) != 10 {
		t.Fatalf("%d impulse responses, %v", len(files), err)
	}
	var out []seat.Seating
	for i, file := range files {
		f, ch, err := wavfile.ReadAll(file)
		if err != nil {
			t.Fatal(err)
		}
		power, err := deconv.NewBandPower(float64(f.RateHz), len(ch[0]), band.All())
		if err != nil {
			t.Fatal(err)
		}
		s := seat.Seating{ID: file, Model: "Unit B", Subject: capture.FixtureSubject, Point: capture.Drum, Number: i + 1}
		for e := range s.Ears {
			c := seat.Curve{LevelDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			power.Mean(c.LevelDB, ch[e])
			for b := range c.LevelDB {
				c.LevelDB[b] = 10 * math.Log10(c.LevelDB[b])
				c.Valid[b] = true
			}
			s.Ears[e] = c
		}
		out = append(out, s)
	}
	return out
}

// The repeatability of real seatings against NumPy (testdata/repeatability).
func TestVectorsRepeatability(t *testing.T) {
	got := sensitivity.Of(reseated(t), nil, seat.DefaultOptions())
	if len(got) != 2 || got[0].Point != capture.Drum || got[0].ReproducibilityDB != nil || got[0].OnFixture != 10 {
		t.Fatalf("%d results", len(got))
	}
	ears := map[string]sensitivity.Sensitivity{got[0].Ear.String(): got[0], got[1].Ear.String(): got[1]}
	for _, row := range vectors.Rows(t, "repeatability", "repeatability.csv") {
		s := ears[row[0]]
		third, want := int(number(t, row[1]))+17, number(t, row[2])
		if g := s.RepeatabilityDB[third]; math.Abs(g-want) > 0.005 || !s.FixtureValid[third] {
			t.Errorf("%s ear, third %s: %.4f dB, NumPy %.4f", row[0], row[1], g, want)
		}
		if c := s.Fixture[third]; !(c.Lower < c.SD && c.SD < c.Upper) {
			t.Errorf("%s ear, third %s: interval %v", row[0], row[1], c)
		}
	}
	for _, row := range vectors.Rows(t, "repeatability", "summary.csv") {
		s := ears[row[0]].SeatingDB
		t.Logf("%s ear: %.3f dB (%.3f to %.3f)", row[0], s[0], s[1], s[2])
		if want := number(t, row[1]); math.Abs(s[0]-want) > 0.002 || !(s[1] < s[0] && s[0] < s[2]) {
			t.Errorf("%s ear: %v, NumPy %.4f", row[0], s, want)
		}
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
