package figure

import (
	"math"

	"asworn/report/text"
)

// The ends of every frequency axis, Hz.
const (
	lowestHz  = 20
	highestHz = 20000
)

func frequencyTicks() []Tick {
	labels := map[float64]string{20: "20", 50: "50", 100: "100", 200: "200", 500: "500", 1000: "1 k", 2000: "2 k", 5000: "5 k", 10000: "10 k", 20000: "20 k"}
	var out []Tick
	for _, decade := range []float64{10, 100, 1000, 10000} {
		for k := 1.0; k < 10; k++ {
			if f := k * decade; f >= lowestHz && f <= highestHz {
				l := labels[f]
				out = append(out, Tick{Value: f, Label: l, Minor: l != "" && k != 1 && f != lowestHz && f != highestHz})
			}
		}
	}
	return out
}

// mostTicks is more than any axis has room for.
const mostTicks = 200

// valueTicks are the multiples of step from lo to hi, at most mostTicks of them.
func valueTicks(lo, hi, step float64) []Tick {
	first := math.Ceil(lo/step - 1e-9)
	n := math.Floor(hi/step+1e-9) - first + 1
	if !(n >= 1) { // also when nothing of it is a number
		return nil
	}
	d := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var out []Tick
	for i := range int(min(n, mostTicks)) {
		v := (first + float64(i)) * step
		out = append(out, Tick{Value: v, Label: text.Fixed(v, d)})
	}
	return out
}

func mapTicks(limit float64) []Tick {
	step := 2.0
	if limit > 10 {
		step = 5
	}
	ticks := valueTicks(-limit, limit, step)
	for i := range ticks {
		ticks[i].Minor = math.Mod(ticks[i].Value, 2*step) != 0
	}
	return ticks
}
