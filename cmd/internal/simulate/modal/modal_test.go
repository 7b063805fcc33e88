package modal

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// Zeros of J_m′ (Abramowitz and Stegun, table 9.5).
func TestPrimeZeros(t *testing.T) {
	for m, want := range [][]float64{
		{0, 3.83170597, 7.01558667}, {1.84118, 5.33144, 8.53632}, {3.05424, 6.70613}, {4.20119, 8.01524},
	} {
		got := primeZeros(m, want[len(want)-1]+0.2)
		if len(got) != len(want) {
			t.Fatalf("m = %d: %v, want %v", m, got, want)
		}
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-5 {
				t.Errorf("m = %d: %v, want %v", m, got[i], want[i])
			}
		}
	}
}

// The norm of a mode is its mean square over the disc, here by numbers.
func TestModeNorm(t *testing.T) {
	h := drawHeadphone(rand.New(rand.NewPCG(1, 1)), false, 1)
	for _, m := range h.modes[:40] {
		const n = 400
		sum := 0.0
		for i := range n {
			r := h.radius * math.Sqrt((float64(i)+0.5)/n)
			for k := range 40 {
				s, c := math.Sincos(2 * math.Pi * (float64(k) + 0.25) / 40)
				v := m.across(r*c, r*s, h.radius)
				sum += v * v / (n * 40)
			}
		}
		if m.p > 0 {
			sum /= 2
		}
		if math.Abs(sum/m.norm-1) > 0.01 {
			t.Errorf("m %d, κ %.2f, p %d: mean square %.4f, norm %.4f", m.m, m.kappa, m.p, sum, m.norm)
		}
	}
}

func TestLimits(t *testing.T) {
	w := World(1, simulate.BarDesign(), []bool{false, true})
	g := simulate.NewBandGrid()
	tight := g.LevelDB(w.Headphone(0, 0, capture.Left, simulate.Placement{}, &g.Grid))
	if d := math.Abs(tight[0] - tight[60]); d > 0.3 {
		t.Errorf("a sealed cup is not flat at low frequencies: %.2f dB", d)
	}
	seal := w.Seal(0, 0, capture.Left, simulate.Placement{SlitMM: 0.3})
	fifty := &simulate.Grid{Hz: []float64{50}, StepHz: g.StepHz, Coarse: 5}
	at50 := func(slit float64) float64 {
		return decibels(w.Headphone(0, 0, capture.Left, simulate.Placement{SlitMM: slit}, fifty)[0])
	}
	if got := at50(0) - at50(0.3); math.Abs(got-seal.LossDB[1]) > 0.02 || got < 1 {
		t.Errorf("50 Hz loses %.2f dB, the truth is %.2f", got, seal.LossDB[1])
	}
	if s := w.Seal(1, 0, capture.Left, simulate.Placement{SlitMM: 0.3}); s != (simulate.Seal{}) {
		t.Errorf("open back has a seal: %+v", s)
	}
	flat := &simulate.Grid{Hz: []float64{20}, StepHz: g.StepHz, Coarse: 5}
	if l := decibels(w.Canal(0, capture.Left, flat)[0]); math.Abs(l) > 0.1 {
		t.Errorf("canal at 20 Hz: %.2f dB", l)
	}
}
