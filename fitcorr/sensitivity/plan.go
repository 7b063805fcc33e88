package sensitivity

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/stats"
)

// Spread is how worn seatings scatter: the standard deviations between
// listeners and between the seatings of a listener, in one unit (dB of a
// band, or mm of an axis). Take them from an earlier study.
type Spread struct {
	Between, Within float64
}

// Plan is a panel that reaches a wanted interval of the worn mean.
type Plan struct {
	Listeners int     `json:"listeners"`
	Seatings  int     `json:"seatings"`   // per listener
	HalfWidth float64 `json:"half_width"` // half of the interval, in the unit of the spread
	Cost      float64 `json:"cost"`       // a count of seatings, see PlanOptions.ListenerCost
}

// PlanOptions are the choices of a plan; start from DefaultPlanOptions.
type PlanOptions struct {
	Confidence float64 // of the interval of the worn mean, a probability
	// Assurance is the probability that the study ends with an interval no
	// wider than planned: a study's own interval is an estimate and varies.
	Assurance    float64
	MaxListeners int
	MaxSeatings  int // per listener, for the listener's comfort
	// ListenerCost is what inviting one more listener costs, as a number of seatings.
	ListenerCost float64
}

// DefaultPlanOptions returns 95 % intervals kept in 80 % of studies, 2 to 10
// seatings, at most 100 listeners, a listener counted as five seatings. The
// last three are common practice and have no source.
func DefaultPlanOptions() PlanOptions {
	return PlanOptions{Confidence: 0.95, Assurance: 0.8, MaxListeners: 100, MaxSeatings: 10, ListenerCost: 5}
}

// HalfWidth returns the half-width of the confidence interval of the worn
// mean that a panel keeps with the assurance of o: Student's t with listeners
// − 1 degrees of freedom times √(between²/k + within²/(kn)), widened by the
// χ² quantile of its estimate (Kupper & Hafner, Am. Stat. 43(2), 1989, quoted
// from memory). It is +Inf for fewer than two listeners or one seating.
func (o PlanOptions) HalfWidth(s Spread, listeners, seatings int) float64 {
	if listeners < 2 || seatings < 1 {
		return math.Inf(1)
	}
	k, n := float64(listeners), float64(seatings)
	se := math.Sqrt(s.Between*s.Between/k + s.Within*s.Within/(k*n))
	over := math.Sqrt(distuv.ChiSquared{K: k - 1}.Quantile(o.Assurance) / (k - 1))
	return stats.StudentQuantile((1+o.Confidence)/2, k-1) * se * over
}

// Plans returns, cheapest first, the smallest panel for each number of
// seatings per listener from 2 (with one, between and within cannot be told
// apart) to MaxSeatings whose interval of the worn mean is want or less to
// either side. It fails when no panel within the limits does.
func (o PlanOptions) Plans(s Spread, want float64) ([]Plan, error) {
	if !(want > 0) || !(s.Between >= 0) || !(s.Within >= 0) || math.IsInf(s.Between+s.Within, 0) {
		return nil, fmt.Errorf("plan: wanted half-width %g with between %g and within %g: the first must be above 0, the others at least 0", want, s.Between, s.Within)
	}
	var out []Plan
	for n := 2; n <= o.MaxSeatings; n++ {
		// The half-width falls with every listener.
		k := 2
		for k <= o.MaxListeners && o.HalfWidth(s, k, n) > want {
			k++
		}
		if k > o.MaxListeners {
			continue
		}
		out = append(out, Plan{Listeners: k, Seatings: n, HalfWidth: o.HalfWidth(s, k, n),
			Cost: float64(k) * (float64(n) + o.ListenerCost)})
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("plan: even %d listeners with %d seatings reach ±%.3g only, wanted ±%.3g",
			o.MaxListeners, o.MaxSeatings, o.HalfWidth(s, o.MaxListeners, o.MaxSeatings), want)
	}
	slices.SortStableFunc(out, func(a, b Plan) int { return cmp.Compare(a.Cost, b.Cost) })
	return out, nil
}

// SummaryFactor returns the factor by which the summary figure's interval
// would reach above and below its estimate with another number of listeners,
// going by this study's scatter of listeners; 0 when this study has no
// interval or fewer than two listeners are asked for.
func (s Sensitivity) SummaryFactor(listeners int, confidence float64) float64 {
	k := float64(len(s.Influence))
	if k < 3 || listeners < 2 {
		return 0
	}
	mean, sum := 0.0, 0.0
	for _, f := range s.Influence {
		mean += f.Shift / k
	}
	for _, f := range s.Influence {
		sum += (f.Shift - mean) * (f.Shift - mean)
	}
	// The jackknife variance sum·(k−1)/k falls as 1/k.
	wanted := float64(listeners)
	se := math.Sqrt(sum * (k - 1) / wanted)
	_, high := figureBounds(wanted-1, confidence)
	return min(math.Exp(stats.StudentQuantile((1+confidence)/2, wanted-1)*se), high)
}
