package capture_test

import (
	"encoding/json"
	"math"
	"testing"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/sweep"
	"asworn/testdata/vectors"
)

// TestDeconvolutionVectors compares the impulse response of a whole recording
// with that of testdata/scipy/make.py, which follows the same steps.
func TestDeconvolutionVectors(t *testing.T) {
	var v struct {
		Rate     float64 `json:"rate_hz"`
		Start    float64 `json:"start_hz"`
		Stop     float64 `json:"stop_hz"`
		Seconds  float64
		Gap      float64 `json:"gap_seconds"`
		Lead     float64 `json:"lead_seconds"`
		Loopback []float64
		Left     []float64
		Impulse  []float64
	}
	if err := json.NewDecoder(vectors.Open(t, "scipy", "deconv.json")).Decode(&v); err != nil {
		t.Fatal(err)
	}
	d := sweep.Design{StartHz: v.Start, StopHz: v.Stop, Seconds: v.Seconds, Repeats: 1,
		GapSeconds: v.Gap, LeadSeconds: v.Lead, RateHz: v.Rate}
	p, err := capture.NewProcessor(study.Setup{Sweep: d, Left: 1, Loopback: 2})
	if err != nil {
		t.Fatal(err)
	}
	rec, err := p.ProcessSamples([][]float64{v.Left, v.Loopback}, v.Rate)
	if err != nil {
		t.Fatal(err)
	}
	got := rec.Ears[study.Left].Impulse
	if len(got) != len(v.Impulse) {
		t.Fatalf("%d samples, want %d; findings %+v", len(got), len(v.Impulse), rec.Quality)
	}
	diff, top := 0.0, 0.0
	for i, w := range v.Impulse {
		diff, top = max(diff, math.Abs(got[i]-w)), max(top, math.Abs(w))
	}
	if diff > 1e-9*top {
		t.Errorf("off by %g of the peak", diff/top)
	}
}
