package capture_test

import (
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/sweep"
)

// TestRateOfTheHeader gives recordings a header of another rate than the
// study's: with the sweep as it is at the study's rate, the header is wrong;
// recorded at the other rate, it is not.
func TestRateOfTheHeader(t *testing.T) {
	d := sweep.Default()
	d.Seconds = 1
	slow := d
	slow.RateHz, slow.StopHz = 44100, 20000
	p := processor(t, capture.Setup{Sweep: d, Left: 1, Right: 2, Loopback: 3})
	for _, c := range []struct {
		name string
		x    [][]float64
		rate float64
		lies bool
	}{
		{"header lies", good(d), 44100, true},
		{"header lies, 96 kHz", good(d), 96000, true},
		{"recorded at 44.1 kHz", good(slow), 44100, false},
	} {
		rec, err := p.ProcessSamples(c.x, c.rate)
		if err != nil {
			t.Fatal(err)
		}
		if len(rec.Quality.Findings) != 1 || rec.Quality.Usable() {
			t.Errorf("%s: %+v", c.name, rec.Quality)
			continue
		}
		f := rec.Quality.Findings[0]
		if f.Code != "wrong-rate" || f.Value != c.rate || f.Mend == "" || strings.Contains(f.Message, "the header is wrong") != c.lies {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
	if rec, err := p.ProcessSamples(good(d), 48000); err != nil || len(rec.Quality.Findings) > 0 {
		t.Errorf("at its own rate: %v, %+v", err, rec.Quality)
	}
}
