package standout

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"asworn/capture"
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
		planted := so.ID == "s3" && so.Ear == capture.Right && so.Band == "low"
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

// A leak that shows at both points of one placement is named once.
func TestStandOutsNameACauseOnce(t *testing.T) {
	none := func(int, float64) float64 { return 0 }
	var ss []seat.Seating
	for i, point := range []capture.Point{capture.Blocked, capture.Drum} {
		group := toy.LowEnd(uint64(31+i), 8, none, func(float64) float64 { return 0 })
		for k := range group {
			group[k].ID, group[k].Subject, group[k].Point = fmt.Sprint(point, " ", k), capture.FixtureSubject, point
		}
		for k := range group[3].Ears[1].LevelDB[:90] {
			group[3].Ears[1].LevelDB[k] -= 14
		}
		ss = append(ss, group...)
	}
	for _, so := range Find(ss, seat.DefaultOptions()) {
		want := map[string]string{"drum 3": "blocked 3"}[so.ID]
		if so.Ear != capture.Right || so.Band != "low" {
			want = ""
		}
		if so.SameAs != want {
			t.Errorf("%s is the same as %q, want %q", so, so.SameAs, want)
		}
		if so.Flagged != (so.Ear == capture.Right && so.Band == "low" && strings.HasSuffix(so.ID, " 3")) {
			t.Errorf("flagged %v: %s", so.Flagged, so)
		}
	}
}

// In a study without stand-outs many groups do not add up to a false alarm.
func TestStudyLimit(t *testing.T) {
	at := func(p ...float64) (out []*group) {
		for _, v := range p {
			out = append(out, &group{found: []finding{{StandOut: StandOut{P: v}}}})
		}
		return out
	}
	for _, c := range []struct {
		p    []float64
		want float64
	}{
		{[]float64{0.04}, 0.04}, {[]float64{0.04, 0.5}, -1}, {[]float64{0.02, 0.5}, 0.02},
		{[]float64{0.03, 0.04, 0.049}, 0.049}, {[]float64{0.03, 0.001, 0.8, 0.9}, 0.001}, {nil, -1},
	} {
		if got := studyLimit(at(c.p...), 0.05); got != c.want {
			t.Errorf("groups with p %v: limit %g, want %g", c.p, got, c.want)
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
			low[so.ID+" "+so.Ear.String()]++
		}
	}
	if len(low) != 13 || low["s2 left"] != 0 || low["s2 right"] != 1 {
		t.Errorf("low band judged for %v, want all but the poor ear", low)
	}
}
