package capture_test

import (
	"os"
	"strings"
	"sync/atomic"
	"testing"

	"asworn/capture/finding"
	"asworn/capture/study"
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
	p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: 3})
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

// TestHeaderTable gives good recordings headers of other rates, 1,000 with
// ASWORN_LONG set, and counts how often the header is named as what is wrong.
func TestHeaderTable(t *testing.T) {
	n := 20
	if os.Getenv("ASWORN_LONG") != "" {
		n = 1000
	}
	rates := []float64{8000, 11025, 22050, 24000, 32000, 44100, 48000, 96000}
	var found, named, alone atomic.Int64
	each(t, n, false, func(w workbench, i int) error {
		r := drawGood(2<<60+uint64(i), pickDesign(i, false, nil))
		rec, err := w[r.design].ProcessSamples(r.make(), rates[i%len(rates)])
		if len(rec.Quality.Findings) == 1 {
			alone.Add(1)
		}
		for _, f := range rec.Quality.Findings {
			if f.Code == "wrong-rate" && f.Severity == finding.Refusal && f.Value == rates[i%len(rates)] {
				found.Add(1)
				if strings.Contains(f.Message, "the header is wrong") {
					named.Add(1)
				}
			}
		}
		return err
	})
	t.Logf("wrong header: found in %d of %d, as the only finding in %d, named as wrong in %d", found.Load(), n, alone.Load(), named.Load())
	if int(found.Load()) != n || 10*int(named.Load()) < 9*n {
		t.Errorf("of %d wrong headers %d found, %d named", n, found.Load(), named.Load())
	}
}
