package standout

import (
	"math"
	"testing"

	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
)

func TestStandOutsFindsAPlantedLeak(t *testing.T) {
	none := func(int, float64) float64 { return 0 }
	ss := toy.LowEnd(21, 8, none, func(float64) float64 { return 0 })
	for k := range ss[3].Ears[1].LevelDB[:90] {
		ss[3].Ears[1].LevelDB[k] -= 7
	}
	ss = append(ss, toy.LowEnd(22, 4, none, func(float64) float64 { return 0 })...) // too small a group
	for i := 8; i < len(ss); i++ {
		ss[i].ID, ss[i].Subject = "other "+ss[i].ID, "L02"
	}
	got := Find(ss, seat.DefaultOptions())
	if len(got) != 8*4 {
		t.Fatalf("%d findings, want 32: two ears and two bands of eight members", len(got))
	}
	for _, so := range got {
		planted := so.ID == "s3" && so.Ear == "right" && so.Band == "low"
		if so.Flagged != planted {
			t.Errorf("flagged %v, want %v: %s", so.Flagged, planted, so)
		}
		if planted && math.Abs(so.WorstDB+7) > 3 {
			t.Errorf("worst %.1f dB, want about -7: %s", so.WorstDB, so)
		}
		if so.P < 0 || so.P > 1 || math.IsNaN(so.Distance) {
			t.Errorf("impossible numbers: %+v", so)
		}
	}
}

func TestStandOutsLeaveOutAPoorMember(t *testing.T) {
	none := func(int, float64) float64 { return 0 }
	ss := toy.LowEnd(23, 7, none, func(float64) float64 { return 0 })
	for k := range 60 {
		ss[2].Ears[0].Valid[k], ss[2].Ears[0].LevelDB[k] = false, math.NaN()
	}
	low := map[string]int{}
	for _, so := range Find(ss, seat.DefaultOptions()) {
		if so.Flagged {
			t.Errorf("flagged: %s", so)
		}
		if so.Band == "low" {
			low[so.ID+" "+so.Ear]++
		}
	}
	if len(low) != 13 || low["s2 left"] != 0 || low["s2 right"] != 1 {
		t.Errorf("low band judged for %v, want all but the poor ear", low)
	}
}
