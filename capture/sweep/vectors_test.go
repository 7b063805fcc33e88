package sweep_test

import (
	"encoding/json"
	"math"
	"testing"

	"asworn/capture/sweep"
	"asworn/testdata/vectors"
)

// TestSweepVectors compares with scipy.signal.chirp, given the starting phase
// of a synchronised sweep.
func TestSweepVectors(t *testing.T) {
	var v struct {
		Start   float64 `json:"start_hz"`
		Stop    float64 `json:"stop_hz"`
		Seconds float64
		Rate    float64 `json:"rate_hz"`
		Index   []int
		Value   []float64
	}
	if err := json.NewDecoder(vectors.Open(t, "scipy", "sweep.json")).Decode(&v); err != nil {
		t.Fatal(err)
	}
	x := sweep.Design{StartHz: v.Start, StopHz: v.Stop, Seconds: v.Seconds, RateHz: v.Rate}.Sweep()
	for k, i := range v.Index {
		if d := math.Abs(x[i] - v.Value[k]); d > 1e-9*0.5 {
			t.Errorf("sample %d: %g, want %g", i, x[i], v.Value[k])
		}
	}
}
