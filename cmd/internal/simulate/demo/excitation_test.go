package demo

import (
	"math"
	"testing"

	"asworn/capture/sweep"
)

// The demo's own sweep, in continuous time, is the one that study.toml designs.
func TestExcitationIsTheDesignedSweep(t *testing.T) {
	x := played
	d := sweep.Design{
		StartHz: x.start, StopHz: x.stop, Seconds: x.seconds, Repeats: x.repeats,
		GapSeconds: x.gap, LeadSeconds: x.lead, RateHz: x.rate,
	}
	for _, ppm := range []float64{0, 40} {
		want := d.Stretched(1 + ppm*1e-6)
		got := make([]float64, len(want))
		// The first repeat starts at a whole sample only when the clock is right.
		x.lead = 0
		x.repeat(0, ppm, 0, 0, got)
		for i := range want {
			if math.Abs(peak*got[i]-want[i]) > 1e-8 {
				t.Fatalf("%g ppm, sample %d: %g, want %g", ppm, i, peak*got[i], want[i])
			}
		}
	}
}
