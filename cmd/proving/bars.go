package main

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr"
)

// shown is how many standard errors a figure must lie beyond its bar to be a
// miss, by Student's t of the studies, two-sided at 99 %, as there are many bars:
// what few studies cannot tell is none.
func shown(studies int) float64 {
	return studentQuantile(float64(studies-1), 0.995)
}

// misses lists the bars that a condition is shown to miss, in plain words.
func misses(r result) []string {
	var out []string
	miss := func(format string, args ...any) {
		out = append(out, fmt.Sprintf("generator %s, %s: ", r.generator, r.name)+fmt.Sprintf(format, args...))
	}
	n := len(r.scores)
	if n < 2 {
		return []string{fmt.Sprintf("generator %s, %s: one study shows nothing", r.generator, r.name)}
	}
	above := func(what string, f figure, limit float64) {
		if limit > 0 && f.value-shown(n)*f.se > limit {
			miss("%s %s, at most %g", what, f.show(2), limit)
		}
	}
	below := func(what string, f figure, limit float64) {
		if off := rateSE(f, limit, n); limit > 0 && f.value+shown(n)*off < limit {
			miss("%s %s, at least %g", what, f.show(1), limit)
		}
	}
	b := r.bars
	for q, limit := range [quantities]float64{
		fixtureBlocked: b.fixtureMM, fixtureDrum: b.fixtureMM, wornHeadset: b.wornMM, panelMean: b.meanMM,
	} {
		for axis := range 2 {
			f := axisOf(r.scores, q, axis)
			above(fmt.Sprintf("%s, %s, RMS in mm", quantityNames[q], axisNames[axis]), f.rms, limit)
			lo, hi := coverage(b)
			if off := rateSE(f.cover, 95, n); f.cover.value+shown(n)*off < lo || f.cover.value-shown(n)*off > hi {
				miss("%s, %s, intervals cover %s %% of %d, %g to %g", quantityNames[q], axisNames[axis], f.cover.show(1), f.cover.n, lo, hi)
			}
		}
		if none := unanswered(r.scores, q); none > 0 && r.design.SurveySize > 0 {
			miss("%s: %d not answered", quantityNames[q], none)
		}
	}
	below("use at 0 mm, %", rate(r.scores, at(0), fitcorr.Use), b.use)
	below("move at 6 mm, %", rate(r.scores, at(6), fitcorr.Move), b.move)
	if _, count, of := wrongs(r.scores); of > 0 && atLeast(count, of, 0.01) < 0.005 {
		miss("%d of %d verdicts wrong, at most 1 %%", count, of)
	}
	l := leaksOf(r.scores)
	if l.n > 0 {
		below("leak corner within 10 %, %", l.within10, 95)
	}
	below("the panel's mean leak is covered in %", l.panel, 92)
	return out
}

// coverage is the range that the shares of covered true values must lie in, %.
func coverage(b bars) (lo, hi float64) {
	if b.misspecified {
		return 92, 100
	}
	return 93, 97
}

// rateSE is the standard error of a share, %, if it were the expected one: the
// binomial one, widened by the design effect of trials that share a study. That is
// at least that of trials which correlate by 0.2 within a study (a working
// assumption), as a few studies that happen to agree say nothing of it.
func rateSE(f figure, expected float64, studies int) float64 {
	if f.n == 0 {
		return math.NaN()
	}
	n := float64(f.n)
	null := math.Sqrt(expected * (100 - expected) / n)
	effect := 1 + 0.2*max(0, n/float64(studies)-1)
	if p := f.value / 100; p < 0.99 && p > 0.01 && !math.IsNaN(f.se) {
		effect = max(effect, f.se*f.se/(1e4*p*(1-p)/n))
	}
	return null * math.Sqrt(effect)
}

// atLeast is the probability of so many or more events of n, each of probability p.
func atLeast(count, n int, p float64) float64 {
	if count == 0 {
		return 1
	}
	return 1 - distuv.Binomial{N: float64(n), P: p}.CDF(float64(count-1))
}

func unanswered(scores []score, q int) (n int) {
	for _, s := range scores {
		n += s.missing[q]
	}
	return n
}
