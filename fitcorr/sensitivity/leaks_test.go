package sensitivity

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
)

// leakyFixture is n seatings on the fixture, each blocked and drum, that
// scatter by 0.5 dB; at the left ear those numbered in lossDB lose so much
// below 300 Hz, and the returned leaks say so.
func leakyFixture(rng *rand.Rand, n int, lossDB map[int]float64) ([]seat.Seating, map[string][2]seal.Leak) {
	leaks := map[string][2]seal.Leak{}
	c := scatter{fixture: n, onFixture: 0.5}
	var out []seat.Seating
	for _, point := range []capture.Point{capture.Blocked, capture.Drum} {
		for _, s := range c.draw(rng, point) {
			s.ID += "-" + string(point)
			loss := lossDB[s.Number]
			for b, f := range band.All() {
				if f.Mid < 300 {
					s.Ears[capture.Left].LevelDB[b] -= loss
				}
			}
			if point == capture.Blocked {
				left := seal.Leak{Class: "sealed"}
				if loss > 0 {
					left = seal.Leak{Class: "leaking", LossDB: [3]float64{loss, loss, loss}}
				}
				leaks[s.ID] = [2]seal.Leak{left, {Class: "sealed"}}
			}
			out = append(out, s)
		}
	}
	return out, leaks
}

// A seating that lost its seal is named and left out of the one figure, at
// both points and at its ear only; the figure with it is told, and bounded.
func TestSensitivityNamesALeak(t *testing.T) {
	ss, leaks := leakyFixture(rand.New(rand.NewPCG(4, 4)), 6, map[int]float64{3: 20})
	got := Of(ss, leaks, seat.DefaultOptions())
	if len(got) != 4 {
		t.Fatalf("%d results", len(got))
	}
	for _, s := range got {
		var want []string
		if s.Ear == capture.Left {
			want = []string{"fixture-2-" + string(s.Point)}
		}
		if !slices.Equal(s.LeftOut, want) || s.LeaksIn != nil {
			t.Errorf("%s, %s: left out %q, in %q, want %q out", s.Point, s.Ear, s.LeftOut, s.LeaksIn, want)
		}
		t.Logf("%s, %s: %.2f, with leaks %.2f", s.Point, s.Ear, s.SeatingDB, s.WithLeaksDB)
		if v := s.SeatingDB; v[0] < 0.25 || v[0] > 0.8 || v[2] > 2 || !(v[1] < v[0] && v[0] < v[2]) {
			t.Errorf("%s, %s: figure %.2f, want about 0.5 with an interval", s.Point, s.Ear, v)
		}
		if s.Ear == capture.Left {
			// 20 dB in one of six scatters by 20/√6 dB in the 8 of 24 bands
			// below 300 Hz; χ² with 5 degrees of freedom ends at 2.45 times.
			v := s.WithLeaksDB
			if v[0] < 4 || v[0] > 5.5 || v[2] > 2.46*v[0] || v[1] < 0.62*v[0] {
				t.Errorf("%s: with the leak %.2f", s.Point, v)
			}
			if len(s.SeatingInfluence) != 5 {
				t.Errorf("%s: influence of %d seatings, want 5", s.Point, len(s.SeatingInfluence))
			}
		} else if s.WithLeaksDB != [3]float64{} {
			t.Errorf("%s, right: with leaks %v, nothing leaks", s.Point, s.WithLeaksDB)
		}
	}
	// Not judged: the leak stays in, and its interval is bounded all the same.
	for _, s := range Of(ss, nil, seat.DefaultOptions()) {
		if v := s.SeatingDB; s.LeftOut != nil || v[2] > 2.46*v[0] {
			t.Errorf("%s, %s, not judged: %.2f, left out %q", s.Point, s.Ear, v, s.LeftOut)
		}
	}
}

// What most seatings do, or small leaks, or too few seatings leave nothing out.
func TestSensitivityKeepsLeaks(t *testing.T) {
	for _, c := range []struct {
		name    string
		n       int
		loss    map[int]float64
		out, in int
	}{
		{"most leak", 5, map[int]float64{1: 12, 2: 14, 3: 12, 4: 13}, 0, 0},
		{"a small leak", 5, map[int]float64{2: 2}, 0, 0},
		{"one of three", 3, map[int]float64{2: 20}, 0, 1},
		{"one of four", 4, map[int]float64{2: 20}, 1, 0},
		{"two of five", 5, map[int]float64{2: 20, 4: 9}, 2, 0},
	} {
		ss, leaks := leakyFixture(rand.New(rand.NewPCG(4, 5)), c.n, c.loss)
		for _, s := range Of(ss, leaks, seat.DefaultOptions()) {
			if s.Ear == capture.Left && (len(s.LeftOut) != c.out || len(s.LeaksIn) != c.in) {
				t.Errorf("%s, %s: left out %q, in all the same %q", c.name, s.Point, s.LeftOut, s.LeaksIn)
			}
		}
	}
	// A panel's own figures leave nothing out: a leak on a person is how it sits.
	p := scatter{listeners: 4, seatings: 3, fixture: 5, between: 1, within: 1, onFixture: 0.5}
	ss := p.draw(rand.New(rand.NewPCG(4, 6)), capture.Blocked)
	leaks := map[string][2]seal.Leak{}
	for _, s := range ss {
		leaks[s.ID] = [2]seal.Leak{{Class: "sealed"}, {Class: "sealed"}}
	}
	leaks["fixture-1"] = [2]seal.Leak{{Class: "leaking", LossDB: [3]float64{20, 20, 20}}, {Class: "sealed"}}
	for _, s := range Of(ss, leaks, seat.DefaultOptions()) {
		if s.LeftOut != nil || s.LeaksIn != nil {
			t.Errorf("panel, %s: %q %q", s.Ear, s.LeftOut, s.LeaksIn)
		}
	}
}

// The interval of few seatings on a fixture covers the truth, and is never
// wider than the exact interval of one band.
func TestSeatingCoverage(t *testing.T) {
	const runs = 500
	for _, n := range []int{3, 4, 6, 10} {
		rng := rand.New(rand.NewPCG(8, uint64(n)))
		hit, wide, factor := 0, 0, 0.0
		for range runs {
			p := scatter{fixture: n, onFixture: 1}.drawPanel(rng)
			for i := range p.subject {
				p.id = append(p.id, string(rune('a'+i)))
			}
			v, _ := seatingFigure(p, 0.95)
			if v[1] <= 1 && 1 <= v[2] {
				hit++
			}
			low, high := figureBounds(float64(n-1), 0.95)
			if v[2] > high*v[0]*(1+1e-9) || v[1] < low*v[0]*(1-1e-9) {
				wide++
			}
			factor += math.Log(v[2]/v[0]) / runs
		}
		share := float64(hit) / runs
		t.Logf("%d seatings: covers %.3f, upper end %.2f times the figure", n, share, math.Exp(factor))
		if share < 0.9 || wide > 0 {
			t.Errorf("%d seatings: covers %.3f, wider than one band %d", n, share, wide)
		}
	}
}
