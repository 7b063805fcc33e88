package position

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// describe completes the report of one ear's survey: what a single seating's
// position would cost in certainty, which axes show, what a step is worth in dB.
func (m *Ear) describe(rep *SurveyReport, rows []seat.Seating, ear int) {
	e := m.Survey
	noise := make([]float64, m.Bands.N)
	for _, s := range rows {
		_, va := m.Bands.Join(s.Ears[ear], e.Valid)
		for r := range noise {
			noise[r] += va[r] / float64(len(rows))
		}
	}
	_, slope, excess := e.Surface(m.Bands, [3]float64{})
	info, err := positionInformation(m.Covariance(1, excess, noise), slope)
	if err == nil {
		wide := mat.NewDense(3, 3, nil)
		wide.Copy(info)
		for a := range 3 {
			wide.Set(a, a, wide.At(a, a)+1.0/64)
		}
		var cov mat.Dense
		if cov.Inverse(wide) == nil {
			for a := range 3 {
				rep.PosteriorSD[a] = math.Sqrt(cov.At(a, a))
			}
		}
		var eig mat.EigenSym
		plane := mat.NewSymDense(2, []float64{info.At(0, 0), info.At(0, 1), info.At(0, 1), info.At(1, 1)})
		if eig.Factorize(plane, false) {
			v := eig.Values(nil)
			rep.Condition = math.Sqrt(v[1] / math.Max(v[0], 1e-9*v[1]+1e-12))
		}
	}
	rep.visibility(e)
	m.slopes(rep)
}

// positionInformation is J'Σ⁻¹J of one seating at the marked position.
func positionInformation(cov *mat.SymDense, slope [3][]float64) (*mat.Dense, error) {
	n := cov.SymmetricDim()
	j := mat.NewDense(n, 3, nil)
	for a := range slope {
		for r, v := range slope[a] {
			j.Set(r, a, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return nil, stats.ErrSingular
	}
	var wj, info mat.Dense
	if err := chol.SolveTo(&wj, j); err != nil {
		return nil, err
	}
	info.Mul(j.T(), &wj)
	return &info, nil
}

// visibleSD is the posterior standard deviation, mm or degrees, below which an
// axis counts as visible.
const visibleSD = 2.0

func (rep *SurveyReport) visibility(e *EarSurvey) {
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

// slopes fills the level change per unit at the marked position, per kept band.
func (m *Ear) slopes(rep *SurveyReport) {
	e := m.Survey
	n := len(e.At)
	var zero [3]float64
	for a := range 3 {
		rep.SlopeDB[a], rep.SlopeSE[a] = make([]float64, band.Count), make([]float64, band.Count)
	}
	var sq, count [3]float64
	all := band.All()
	for _, z := range e.Zones {
		g := make([][3]float64, n)
		for i, at := range e.At {
			_, g[i] = z.Kernel.Grad(zero, at)
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

// slopeVar is the prior variance of the slope along axis a at the marked position.
func (k Kernel) slopeVar(a int) float64 {
	s := [3]float64{1, 1, k.MMPerDeg}[a]
	v := k.Linear / (kernelUnitMM * kernelUnitMM)
	if k.Amplitude > 0 {
		v += 5 * k.Amplitude / (3 * k.LengthMM * k.LengthMM)
	}
	return s * s * v
}

// SurveyReport says how well the survey of one model and ear works.
type SurveyReport struct {
	Displacements int        `json:"displacements"`
	Method        string     `json:"method"`       // of the chosen response model, in words
	HeldOutDB     float64    `json:"held_out_db"`  // RMS prediction error leaving one displacement out
	HeldOutMM     [3]float64 `json:"held_out_mm"`  // the same turned around: error of the recovered position
	PosteriorSD   [3]float64 `json:"posterior_sd"` // of one seating's offset per axis
	Visible       [3]bool    `json:"visible"`      // axes that the survey can see
	Condition     float64    `json:"condition"`    // condition number of the position information
	PerUnitDB     [3]float64 `json:"db_per_unit"`  // RMS level change per mm (or degree), 200 Hz to 16 kHz
	Warnings      []string   `json:"warnings,omitempty"`
	// SlopeDB is the level change per mm (or degree) at the marked position
	// per kept band and axis, with standard errors.
	SlopeDB [3][]float64 `json:"slope_db,omitempty"`
	SlopeSE [3][]float64 `json:"slope_stderr_db,omitempty"`
}
