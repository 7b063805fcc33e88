package sensitivity

import (
	"math"

	"asworn/capture/band"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/varcomp"
)

// The summary figure spans the third-octave bands with mid-band frequencies
// from 50 Hz to 10 kHz (exact 50.1 Hz and 10 kHz).
const (
	summaryLowHz  = 49
	summaryHighHz = 10100
)

// leastSealed is how many seatings must remain for leaking ones to be left
// out: fewer have no interval.
const leastSealed = 3

// summarise fills SummaryDB and SeatingDB with their influences; leaks are the
// ids of the fixture's seatings whose seal stands out.
func summarise(r *Sensitivity, worn, fixture fitPanel, leaks []string, confidence float64) {
	total := func(p fitPanel) float64 { return math.Sqrt(meanVariance(p, worn, totalVariance)) }
	within := func(p fitPanel) float64 { return math.Sqrt(meanVariance(p, worn, withinVariance)) }
	k, n := float64(r.Listeners), float64(len(worn.subject))
	if r.Listeners >= 2 {
		r.SummaryDB, r.Influence = jackknife(worn, total, k-1, confidence)
	}
	switch {
	case r.Listeners >= 2 && r.Within != nil:
		r.SeatingDB, r.SeatingInfluence = jackknife(worn, within, min(k-1, n-k), confidence)
	case r.Within != nil:
		r.SeatingDB, r.SeatingInfluence = seatingFigure(worn, confidence)
	default:
		r.SeatingDB, r.SeatingInfluence = seatingFigure(fixture, confidence)
		if len(leaks) == 0 {
			return
		}
		sealed := fixture.without(leaks)
		if len(sealed.id) < leastSealed {
			r.LeaksIn = leaks
			return
		}
		r.LeftOut, r.WithLeaksDB = leaks, r.SeatingDB
		r.SeatingDB, r.SeatingInfluence = seatingFigure(sealed, confidence)
	}
}

// seatingFigure is the figure of the seatings of one subject: each is a unit
// of its own, and the variance between units is the variance of a seating.
func seatingFigure(p fitPanel, confidence float64) ([3]float64, []Influence) {
	if len(p.id) < 2 {
		return [3]float64{}, nil
	}
	units := fitPanel{id: p.id, subject: p.id, level: p.level}
	all := func(p fitPanel) float64 { return math.Sqrt(meanVariance(p, units, totalVariance)) }
	return jackknife(units, all, float64(len(p.id)-1), confidence)
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
	_, sd := stats.MeanSD(mean)
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
// its standard error by leaving out one listener at a time, but nowhere
// farther out than figureBounds of df degrees of freedom. The interval is 0
// with fewer than three listeners.
func jackknife(p fitPanel, figure func(fitPanel) float64, df, confidence float64) ([3]float64, []Influence) {
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
	reach := stats.StudentQuantile((1+confidence)/2, k-1) * se
	low, high := figureBounds(df, confidence)
	return [3]float64{est, est * max(math.Exp(-reach), low), est * min(math.Exp(reach), high)}, shifts
}

// figureBounds returns the factors to which the interval of a figure is held:
// those of a standard deviation with df degrees of freedom, the fewest that
// its variances have in one band. They are exact for normal scatter when all
// bands move as one. A mean over bands that move apart has more degrees of
// freedom (Satterthwaite, Biometrics Bulletin 2(6), 1946), never fewer, so
// nothing wider is called for; the jackknife of a few units of which one lies
// far off knows no bound.
func figureBounds(df, confidence float64) (low, high float64) {
	return varcomp.ChiSquaredInterval(1, df, confidence)
}

// BiasCounts reports whether the bias of third-octave band i rests on both the
// panel and the fixture.
func (s Sensitivity) BiasCounts(i int) bool {
	return i < len(s.BiasDB) && i < len(s.BiasSE) &&
		(i >= len(s.PanelValid) || s.PanelValid[i]) && (i >= len(s.FixtureValid) || s.FixtureValid[i])
}

// BiasHalf is half the interval of the bias of third-octave band i, dB.
func (s Sensitivity) BiasHalf(i int, confidence float64) float64 {
	df := 0.0
	if i < len(s.BiasDF) {
		df = s.BiasDF[i]
	}
	return stats.Coverage(confidence, df) * s.BiasSE[i]
}
