package toy

import (
	"fmt"
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// LowEnd makes blocked seatings whose low end follows loss(i, f) in dB over a
// common curve fall(f), with small position scatter, gain and noise.
func LowEnd(seed uint64, n int, loss func(i int, f float64) float64, fall func(f float64) float64) []seat.Seating {
	rng := rand.New(rand.NewPCG(seed, 5))
	all := band.All()
	ss := make([]seat.Seating, n)
	for i := range ss {
		s := seat.Seating{ID: fmt.Sprint("s", i), Model: "M", Subject: "L01", Point: capture.Blocked, Number: i}
		for ear := range 2 {
			c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			gain, pos := rng.NormFloat64(), 0.3*rng.NormFloat64()
			for k, b := range all {
				se := 0.4 * 20 / b.Mid
				c.StdErrDB[k], c.Valid[k] = se, true
				c.LevelDB[k] = fall(b.Mid) - loss(i, b.Mid) + gain + pos*math.Pow(b.Mid/1000, 2) + se*rng.NormFloat64()
			}
			s.Ears[ear] = c
		}
		ss[i] = s
	}
	return ss
}
