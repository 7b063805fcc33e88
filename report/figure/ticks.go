package figure

import (
	"math"

	"gonum.org/v1/plot"

	"asworn/report/text"
)

func FrequencyTicks() []plot.Tick {
	labels := map[float64]string{20: "20", 50: "50", 100: "100", 200: "200", 500: "500", 1000: "1 k", 2000: "2 k", 5000: "5 k", 10000: "10 k", 20000: "20 k"}
	var out []plot.Tick
	for _, decade := range []float64{10, 100, 1000, 10000} {
		for k := 1.0; k < 10; k++ {
			if f := k * decade; f >= 20 && f <= 20000 {
				out = append(out, plot.Tick{Value: f, Label: labels[f]})
			}
		}
	}
	return out
}

func LevelTicks(c *Curves) []plot.Tick {
	return ValueTicks(c.YMin, c.YMax, GridStep(c.DBPerDecade, c.YMax-c.YMin))
}

// valueTicks are the multiples of step from lo to hi.
func ValueTicks(lo, hi, step float64) []plot.Tick {
	var out []plot.Tick
	d := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: text.Fixed(k*step, d)})
	}
	return out
}

func MapTicks(limit float64) []plot.Tick {
	step := 2.0
	if limit > 10 {
		step = 5
	}
	var out []plot.Tick
	for k := math.Ceil(-limit / step); k*step <= limit; k++ {
		out = append(out, plot.Tick{Value: k * step, Label: text.Fixed(k*step, 0)})
	}
	return out
}
