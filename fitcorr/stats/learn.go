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

// sdStep is the ratio of the steps in which a learned standard deviation is carried that much
// else is weighed by: that of the preferred numbers R40 (ISO 3:1973). A step is wrong by 3 % at the
// most; rounding to two digits, which suffice for any uncertainty (JCGM 100:2008, 7.2.6), by up to 5 %, and fifty
// observations leave a tenth open (Table E.1).
var sdStep = math.Pow(10, 1.0/40)

// Stepped is the nearest to a standard deviation of those that lie a whole number of steps from the stated
// one, in the same unit. Where either is not above 0 it is sd.
func Stepped(sd, stated float64) float64 {
	if sd <= 0 || stated <= 0 {
		return sd
	}
	return stated * math.Pow(sdStep, math.Round(math.Log(sd/stated)/math.Log(sdStep)))
}

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
