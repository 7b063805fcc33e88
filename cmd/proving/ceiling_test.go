package main

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The rule recovers a linear relation through noise.
func TestRidge(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	var x [][]float64
	var y [][3]float64
	truth := func(v []float64) [3]float64 { return [3]float64{1 + 2*v[0], -v[1], 0.5*v[0] + v[1]} }
	for range 20000 {
		v := []float64{3 + r.NormFloat64(), r.NormFloat64()}
		want := truth(v)
		for a := range want {
			want[a] += 0.1 * r.NormFloat64()
		}
		x, y = append(x, v), append(y, want)
	}
	rule := ridge(x, y)
	for _, v := range [][]float64{{3, 0}, {5, -2}} {
		got, want := rule(v), truth(v)
		for a := range got {
			if math.Abs(got[a]-want[a]) > 0.02 {
				t.Errorf("%v axis %d: %.3f, want %.3f", v, a, got[a], want[a])
			}
		}
	}
}

// With equal deviations in both axes the distance from zero is Rayleigh
// distributed, and that from afar nearly normal.
func TestVerdictRates(t *testing.T) {
	for _, sd := range []float64{0.5, 0.87, 1.2} {
		matches, adjust := verdictRates([2]float64{sd, sd}, rand.New(rand.NewPCG(1, 1)))
		limit := (toleranceMM - oneSided*sd) / sd
		if want := 1 - math.Exp(-limit*limit/2); math.Abs(matches-want) > 0.006 {
			t.Errorf("SD %g: matches %.3f, want %.3f", sd, matches, want)
		}
		// Rice's mean is 6 + sd²/12 for sd ≪ 6.
		limit = (6 + sd*sd/12 - toleranceMM - oneSided*sd) / sd
		if want := math.Erfc(-limit/math.Sqrt2) / 2; math.Abs(adjust-want) > 0.006 {
			t.Errorf("SD %g: adjust %.3f, want %.3f", sd, adjust, want)
		}
	}
	if matches, _ := verdictRates([2]float64{1.9, 1.9}, rand.New(rand.NewPCG(1, 1))); matches != 0 {
		t.Errorf("matches %.3f where the limit is beyond the tolerance of an estimate of 0", matches)
	}
}

// The mean response is found through differing ears.
func TestSlopes(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	people := make([]person, 500)
	for i := range people {
		w := newWorn(1)
		ear := r.NormFloat64()
		for range 5 {
			d := [3]float64{2 * r.NormFloat64(), 2 * r.NormFloat64(), 3 * r.NormFloat64()}
			w.truth[0] = append(w.truth[0], d)
			w.seatings[0] = append(w.seatings[0], []float64{7 + ear + 0.5*d[0], ear - d[1] + 0.2*d[2]})
		}
		people[i].alone = w
	}
	got := slopes(people, 0)([3]float64{2, 1, -5})
	for j, want := range []float64{1, -2} {
		if math.Abs(got[j]-want) > 0.2 {
			t.Errorf("feature %d: %.3f, want %g", j, got[j], want)
		}
	}
}
