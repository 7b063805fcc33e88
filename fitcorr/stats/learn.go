package stats

import (
	"math"
)

// Error is a squared error observed beside a variance of its own that is known,
// in the same unit.
type Error struct{ Square, Variance float64 }

// A standard deviation is looked for within learnFactor of the stated one, in
// learnSteps logarithmic steps.
const (
	learnFactor = 4.0
	learnSteps  = 161
	learnTail   = 5.0 // degrees of freedom of one error: a few are far off
	// learnScale is the squared scale of Student's t of learnTail degrees of freedom that
	// fits errors of a normal distribution best, over their variance: the root of
	// E[(learnTail + 1)·x²/(learnTail·s² + x²)] = 1.
	learnScale = 0.7357
)

// LearnSD is the most probable standard deviation of errors of which some are
// observed and of which a person stated what it is. What is stated is a log-normal
// prior that is worth df degrees of freedom (relative standard uncertainty
// 1/√(2 df): JCGM 100:2008, G.4.2); the errors follow Student's t with five
// degrees of freedom, scaled so that normal ones show their standard deviation, so that errors of another kind, a head that
// was placed wrongly, do not pass for bad readings. It stays within a factor of
// four of what is stated.
func LearnSD(stated, df float64, errors []Error) float64 {
	best, most := stated, math.Inf(-1)
	for k := range learnSteps {
		log := math.Log(learnFactor) * (2*float64(k)/(learnSteps-1) - 1)
		sd := stated * math.Exp(log)
		score := -log * log * df // over 2·(1/(2 df))
		for _, e := range errors {
			v := (sd*sd + e.Variance) * learnScale
			score -= (math.Log(v) + (learnTail+1)*math.Log1p(e.Square/(learnTail*v))) / 2
		}
		if score > most {
			best, most = sd, score
		}
	}
	return best
}
