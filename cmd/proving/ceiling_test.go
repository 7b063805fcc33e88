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
