package correct

import (
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// Whatever third octaves are corrected by whatever share, the share has no step, is
// nowhere larger than asked for, and nowhere but where it was.
func TestFaded(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 26))
	worst := 0.0
	for range 200 {
		share := make([]float64, band.Count)
		for third := range band.Thirds {
			s := []float64{0, 0.5, 0.8, 1}[rng.IntN(4)]
			for b := seat.PerThird * third; b < seat.PerThird*(third+1); b++ {
				share[b] = s
			}
		}
		got := faded(share)
		for b := range got {
			if got[b] > share[b]+1e-12 || got[b] < 0 {
				t.Fatalf("band %d: share %g for %g", b, got[b], share[b])
			}
			if b > 0 {
				worst = math.Max(worst, math.Abs(got[b]-got[b-1]))
			}
		}
	}
	if worst > 0.25 {
		t.Errorf("a step of %.2f of the change between neighbouring bands of 1/24 octave", worst)
	}
	one := make([]float64, band.Count)
	for b := range one {
		one[b] = 0.9
	}
	for b, s := range faded(one) {
		if math.Abs(s-0.9) > 1e-9 {
			t.Errorf("band %d: %g of a correction everywhere, want 0.9", b, s)
		}
	}
	// Three third octaves: whole in the middle one.
	clear(one)
	for b := 80; b < 80+3*seat.PerThird; b++ {
		one[b] = 1
	}
	got := faded(one)
	if math.Abs(got[80+3*seat.PerThird/2]-1) > 1e-9 || got[80] > 0.1 || got[79] != 0 {
		t.Errorf("from the edge: %.2f", got[78:80+3*seat.PerThird+2])
	}
}

func TestEdgeFade(t *testing.T) {
	fade := edgeFade(300, 16000)
	for b, f := range band.All() {
		w := fade[b]
		if f.Mid > 300*math.Cbrt(2)*1.001 && f.Mid < 16000/math.Cbrt(2)*0.999 && math.Abs(w-1) > 1e-9 || f.Mid < 300 && w != 0 || f.Mid > 16000 && w != 0 {
			t.Errorf("%.0f Hz: %g", f.Mid, w)
		}
		if b > 0 {
			if step := math.Abs(w - fade[b-1]); step > 0.21 {
				t.Errorf("%.0f Hz: a step of %.2f", f.Mid, step)
			}
		}
	}
	if w := edgeFade(0, 0)[10]; w != 1 {
		t.Errorf("without edges: %g", w)
	}
}
