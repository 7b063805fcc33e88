package survey

import (
	"fmt"
	"math"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// visibleSD is the posterior standard deviation, mm or degrees, below which an
// axis counts as visible.
const visibleSD = 2.0

// AddVisibility says of each axis whether the survey of the ear shows it, and warns where
// its displacements cannot.
func (rep *Report) AddVisibility(e *Ear) {
	var varied [3]map[float64]bool
	for a := range varied {
		varied[a] = map[float64]bool{}
		for _, at := range e.At {
			varied[a][at[a]] = true
		}
	}
	for a, axis := range []string{"forward", "up", "rotation"} {
		levels := len(varied[a])
		rep.Visible[a] = levels > 1 && rep.PosteriorSD[a] < visibleSD
		switch {
		case levels < 2:
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("the survey never moves the headphone along %s: that axis is not seen", axis))
		case levels < 3 && a < 2:
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("only two positions along %s: curvature cannot be told; add a third", axis))
		case !rep.Visible[a]:
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("%s hardly changes the response (a seating's standard deviation is %.1f)", axis, rep.PosteriorSD[a]))
		}
	}
	reach := e.Reach()
	for a, axis := range []string{"forward", "up"} {
		if reach[a] > 0 && reach[a] < 4 {
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("displacements along %s reach only %.1f mm; offsets beyond are extrapolated", axis, reach[a]))
		}
	}
	if rep.Displacements < 9 {
		rep.Warnings = append(rep.Warnings, fmt.Sprintf("%d displacements; 13 or more keep offsets within the stated accuracy", rep.Displacements))
	}
	if rep.Condition > 8 {
		rep.Warnings = append(rep.Warnings, fmt.Sprintf("forward and up change the response alike (condition number %.0f)", rep.Condition))
	}
}

// AddSlopes fills the level change per mm, mm, degree at the marked position, per kept band,
// with standard errors.
func (rep *Report) AddSlopes(e *Ear) {
	n := len(e.At)
	var zero [3]float64
	for a := range 3 {
		rep.SlopeDB[a], rep.SlopeSE[a] = make([]float64, band.Count), make([]float64, band.Count)
	}
	var sq, count [3]float64
	all := band.All()
	for _, z := range e.Zones {
		g := make([][3]float64, n)
		for i := range e.At {
			_, g[i][0], g[i][1], g[i][2] = z.Kernel.grad(&zero, &e.At[i])
		}
		for a := range 3 {
			ga := make([]float64, n)
			for i := range g {
				ga[i] = g[i][a]
			}
			v := math.Max(0, z.Kernel.slopeVar(a)-stats.QuadForm(z.Inv, ga))
			for b := z.From; b < z.To; b++ {
				if !e.Valid[b] {
					continue
				}
				for i := range ga {
					rep.SlopeDB[a][b] += ga[i] * e.Weights[i][b]
				}
				rep.SlopeSE[a][b] = math.Sqrt(v) * e.Scatter[b]
				if all[b].Mid >= 200 && all[b].Mid <= 16000 {
					sq[a] += rep.SlopeDB[a][b] * rep.SlopeDB[a][b]
					count[a]++
				}
			}
		}
	}
	for a := range 3 {
		rep.PerUnitDB[a] = math.Sqrt(sq[a] / math.Max(1, count[a]))
	}
}

// Report says how well the survey of one model and ear works.
type Report struct {
	Displacements int        `json:"displacements"`
	Method        string     `json:"method"`       // of the chosen response model, in words
	HeldOutDB     float64    `json:"held_out_db"`  // RMS prediction error leaving one displacement out
	HeldOutMM     [3]float64 `json:"held_out_mm"`  // the same turned around: error of the recovered position
	PosteriorSD   [3]float64 `json:"posterior_sd"` // of one seating's offset per axis
	Visible       [3]bool    `json:"visible"`      // axes that the survey can see
	Condition     float64    `json:"condition"`    // ratio of the axes of a seating's standard-deviation ellipse in the plane
	PerUnitDB     [3]float64 `json:"db_per_unit"`  // RMS level change per mm (or degree), 200 Hz to 16 kHz
	Warnings      []string   `json:"warnings,omitempty"`
	// SlopeDB is the level change per mm (or degree) at the marked position
	// per kept band and axis, with standard errors.
	SlopeDB [3][]float64 `json:"slope_db,omitempty"`
	SlopeSE [3][]float64 `json:"slope_stderr_db,omitempty"`
}

// SlopeHalf is half the interval of the level change per unit along an axis in band b at
// a confidence, dB.
func (rep *Report) SlopeHalf(a seat.Axis, b int, confidence float64) float64 {
	return stats.Coverage(confidence, 0) * rep.SlopeSE[a][b]
}
