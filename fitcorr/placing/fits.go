package placing

import (
	"math"

	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Fit is how well the surface of a model at a point explains a recording by its
// best place, as tail probabilities under χ²: small when it is another model,
// another point, or no headphone at all.
type Fit struct {
	// Residual is that of what the best place leaves, the least of both ears.
	Residual float64
	// Deviance is that of −2 log(density) at the best place less that of a
	// seating without residual at the marked position, the least of each ear and
	// of both together with their prior. A wrong recording is best explained far
	// outside the survey, where the surface is so uncertain that anything leaves
	// little; there the density is low.
	Deviance float64
	// LogDensity is the log density of the levels at the best place, without
	// constants, over Bands position bands of both ears.
	LogDensity float64
	Bands      int
}

// Limits of a fit. Of 480 ordinary seatings (four generators, surveys of 13 and of 22
// displacements) one had a deviance below 1e-20 and one a residual below 1e-6, of 1,440 recordings
// of another model or point 1,423 a deviance below 1e-20.
const (
	misfitResidual  = 1e-6
	misfitDeviance  = 1e-20
	doubtedDeviance = 0.01
	otherBetter     = 20.0 // in log density: odds of 1 to 5e8
)

// Refused reports that no place explains the recording.
func (f Fit) Refused() bool { return f.Residual < misfitResidual || f.Deviance < misfitDeviance }

// Doubted reports that the recording may be one of another survey's.
func (f Fit) Doubted() bool { return f.Refused() || f.Deviance < doubtedDeviance }

// Better reports that f, of another survey, explains the same recording and by far
// better than g does.
func (f Fit) Better(g Fit) bool {
	return !f.Refused() && f.Bands == g.Bands && f.LogDensity > g.LogDensity+otherBetter
}

// Fits is the fit of a seating, of a model at a point that may not be its own.
// An ear that was not recorded well enough speaks for nothing.
func (pl *Placer) Fits(s seat.Seating) Fit {
	obs := Observe(s, pl.Models)
	modes := pl.Modes(obs, FixturePrior())
	if len(modes) == 0 {
		return Fit{Residual: 1, Deviance: 1}
	}
	return pl.Fit(obs, modes[0])
}

// Fit says how well the levels fit the survey at the best place, the first of the modes
// that Modes gave for obs.
func (pl *Placer) Fit(obs Observation, best Mode) Fit {
	out := Fit{Residual: 1, Deviance: 1, LogDensity: best.log}
	all, count := 2*(best.sound-best.log), 0.0 // of the prior
	for e := range pl.Models {
		if !obs.Present[e] {
			continue
		}
		m := &pl.Models[e]
		_, _, atMark := pl.surface[e].At([3]float64{})
		mark, ok := stats.Factorize(m.Covariance(1, atMark, obs.Variance[e]))
		there, fine := stats.Factorize(m.Covariance(1, best.Excess[e], obs.Variance[e]))
		if !ok || !fine {
			continue
		}
		n := 0.0
		for _, v := range obs.Variance[e] {
			if v < survey.MissingVar {
				n++
			}
		}
		deviance := best.Misfit[e] + there.LogDet() - mark.LogDet()
		out.Residual = math.Min(out.Residual, stats.ChiTail(best.Misfit[e], best.Dof[e]))
		out.Deviance = math.Min(out.Deviance, stats.ChiTail(deviance, n))
		all, count = all+deviance, count+n
	}
	out.Deviance = math.Min(out.Deviance, stats.ChiTail(all, count))
	out.Bands = int(count)
	return out
}
