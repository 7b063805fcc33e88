package capture_test

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/finding"
)

// TestRepeatsWithoutADelayInCommon: one sample far beyond full scale in the second
// repeat leaves no phase to tell a clock by; the recording is refused, and all its
// numbers stay finite.
func TestRepeatsWithoutADelayInCommon(t *testing.T) {
	p := planted(t, 1)
	for _, spike := range []float64{1e2, -1e2, 1e4, -1e4, 1e6, -1e6} {
		for _, at := range []float64{0, 0.1, 0.5, 0.9} {
			r := drawGood(1, 1)
			ch := r.make()
			ch[0][r.starts[1]+int(at*float64(r.sweep.SweepSamples()))] = spike
			rec, err := p.ProcessSamples(ch, plantedDesigns[1].rate)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := json.Marshal(rec); err != nil {
				t.Errorf("%g at %g of the repeat: %v", spike, at, err)
			}
			told := slices.ContainsFunc(rec.Quality.Findings, func(f capture.Finding) bool {
				return f.Code == finding.NoExcitation && strings.Contains(f.Mend, "record again")
			})
			if math.Abs(spike) >= 1e6 && (!told || rec.Quality.Usable()) {
				t.Errorf("%g at %g of the repeat: nothing says that the repeats have nothing in common: %v", spike, at, rec.Quality.Findings)
			}
		}
	}
}
