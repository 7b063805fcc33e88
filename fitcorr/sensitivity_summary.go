package fitcorr

import (
	"math"

	"asworn/capture/band"
)

// The summary figure spans the third-octave bands with mid-band frequencies
// from 50 Hz to 10 kHz (exact 50.1 Hz and 10 kHz).
const (
	summaryLowHz  = 49
	summaryHighHz = 10100
)

// summarise fills SummaryDB and SeatingDB with their influences.
func summarise(r *Sensitivity, worn, fixture fitPanel, confidence float64) {
	total := func(p fitPanel) float64 { return math.Sqrt(meanVariance(p, worn, totalVariance)) }
	within := func(p fitPanel) float64 { return math.Sqrt(meanVariance(p, worn, withinVariance)) }
	if r.Listeners >= 2 {
		r.SummaryDB, r.Influence = jackknife(worn, total, confidence)
	}
	seatings := fixture
	switch {
	case r.Listeners >= 2 && r.Within != nil:
		r.SeatingDB, r.SeatingInfluence = jackknife(worn, within, confidence)
		return
	case r.Within != nil:
		seatings = worn
	}
	if len(seatings.subject) >= 2 {
		// One subject: each seating is a unit of its own, and the variance
		// between units is the variance of a seating.
		units := fitPanel{id: seatings.id, subject: seatings.id, level: seatings.level}
		all := func(p fitPanel) float64 { return math.Sqrt(meanVariance(p, units, totalVariance)) }
		r.SeatingDB, r.SeatingInfluence = jackknife(units, all, confidence)
	}
}

// meanVariance averages a per-band variance of p over the summary bands in
// which the whole panel holds at least three units (two when it has no more).
func meanVariance(p, whole fitPanel, variance func(subject []string, y []float64) float64) float64 {
	need := min(3, len(uniqueNames(whole.subject)))
	sum, n := 0.0, 0
	for b, third := range band.AllThirds() {
		if third.Mid < summaryLowHz || third.Mid > summaryHighHz {
			continue
		}
		if subject, _ := whole.in(b); len(uniqueNames(subject)) < need {
			continue
		}
		if v := variance(p.in(b)); !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// splitByListener returns per listener the mean and sum of squares about it, and n.
func splitByListener(subject []string, y []float64) (mean, ss, n []float64) {
	at := make(map[string]int)
	for i, s := range subject {
		g, ok := at[s]
		if !ok {
			g = len(at)
			at[s] = g
			mean, n = append(mean, 0), append(n, 0)
		}
		mean[g] += y[i]
		n[g]++
	}
	ss = make([]float64, len(n))
	for g := range mean {
		mean[g] /= n[g]
	}
	for i, s := range subject {
		d := y[i] - mean[at[s]]
		ss[at[s]] += d * d
	}
	return mean, ss, n
}

// withinVariance is the pooled variance inside listeners, NaN without repeats.
func withinVariance(subject []string, y []float64) float64 {
	_, ss, n := splitByListener(subject, y)
	sum, df := 0.0, 0.0
	for g := range n {
		sum += ss[g]
		df += n[g] - 1
	}
	return sum / df
}

// totalVariance is the unbiased moment estimate of the variance of one
// seating of a new listener (unweighted means; Burdick & Graybill, Confidence
// Intervals on Variance Components, Dekker 1992): the variance of the
// listeners' means, which holds 1/n of the within variance, plus the rest of
// the within variance. Unlike a sum of REML components it is linear in the
// data's squares and so has no bias from components cut off at zero.
func totalVariance(subject []string, y []float64) float64 {
	mean, _, n := splitByListener(subject, y)
	if len(mean) < 2 {
		return math.NaN()
	}
	_, sd := meanSD(mean)
	inverse := 0.0 // mean of 1/n, one over the harmonic mean size
	for _, v := range n {
		inverse += 1 / v / float64(len(n))
	}
	if len(mean) == len(y) {
		return sd * sd
	}
	return sd*sd + (1-inverse)*withinVariance(subject, y)
}

// jackknife returns the figure of the whole fitPanel with an interval: Student's
// t with listeners − 1 degrees of freedom about the logarithm of the figure,
// its standard error by leaving out one listener at a time. The interval is 0
// with fewer than three listeners.
func jackknife(p fitPanel, figure func(fitPanel) float64, confidence float64) ([3]float64, []Influence) {
	est := figure(p)
	names := uniqueNames(p.subject)
	k := float64(len(names))
	if len(names) < 3 || est <= 0 {
		return [3]float64{est}, nil
	}
	shifts := make([]Influence, 0, len(names))
	mean := 0.0
	for _, name := range names {
		var rest fitPanel
		for i, s := range p.subject {
			if s != name {
				rest.subject = append(rest.subject, s)
				rest.level = append(rest.level, p.level[i])
			}
		}
		left := figure(rest)
		if left <= 0 {
			return [3]float64{est}, nil
		}
		shift := math.Log(est) - math.Log(left)
		shifts = append(shifts, Influence{Listener: name, Shift: shift})
		mean += shift / k
	}
	sum := 0.0
	for _, s := range shifts {
		sum += (s.Shift - mean) * (s.Shift - mean)
	}
	se := math.Sqrt(sum * (k - 1) / k)
	t := studentQuantile((1+confidence)/2, k-1)
	return [3]float64{est, est * math.Exp(-t*se), est * math.Exp(t*se)}, shifts
}
