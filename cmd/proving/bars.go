package main

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr"
)

// shown is how many standard errors a figure must lie beyond its bar to be a
// miss: what few studies cannot tell is none.
const shown = 2

// misses lists the bars that a condition is shown to miss, in plain words.
func misses(r result) []string {
	var out []string
	miss := func(format string, args ...any) {
		out = append(out, fmt.Sprintf("generator %s, %s: ", r.generator, r.name)+fmt.Sprintf(format, args...))
	}
	above := func(what string, f figure, limit float64) {
		if limit > 0 && f.value-shown*f.se > limit {
			miss("%s %s, at most %g", what, f.show(2), limit)
		}
	}
	below := func(what string, f figure, limit float64) {
		if limit > 0 && f.value+shown*f.se < limit {
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
			if off := coverSE(f.cover, len(r.scores)); f.cover.value+shown*off < lo || f.cover.value-shown*off > hi {
				miss("%s, %s, intervals cover %s %% of %d, %g to %g", quantityNames[q], axisNames[axis], f.cover.show(1), f.cover.n, lo, hi)
			}
		}
		if n := unanswered(r.scores, q); n > 0 && r.design.SurveySize > 0 {
			miss("%s: %d not answered", quantityNames[q], n)
		}
	}
	below("use at 0 mm, %", rate(r.scores, at(0), fitcorr.Use), b.use)
	below("move at 6 mm, %", rate(r.scores, at(6), fitcorr.Move), b.move)
	if _, count, of := wrongs(r.scores); of > 0 && atLeast(count, of, 0.01) < 0.025 {
		miss("%d of %d verdicts wrong, at most 1 %%", count, of)
	}
	l := leaksOf(r.scores)
	if l.n > 0 {
		below("leak corner within 10 %, %", l.within10, 95)
	}
	if off := coverSE(l.panel, len(r.scores)); l.panel.value+shown*off < 92 {
		miss("the panel's mean leak is covered in %s %%, at least 92", l.panel.show(1))
	}
	return out
}

// coverage is the range that the shares of covered true values must lie in, %.
func coverage(b bars) (lo, hi float64) {
	if b.misspecified {
		return 92, 100
	}
	return 93, 97
}

// coverSE is the standard error of a coverage, %, if it were 95: the binomial one,
// widened by the design effect of trials that share a study. That is the observed one, or, where all
// or nearly all are covered and the spread says nothing, that of trials which
// correlate by 0.2 within a study (a working assumption).
func coverSE(f figure, studies int) float64 {
	if f.n == 0 {
		return math.NaN()
	}
	n := float64(f.n)
	null := math.Sqrt(95 * 5 / n)
	effect := 1 + 0.2*max(0, n/float64(studies)-1)
	if p := f.value / 100; p < 0.99 && p > 0 && !math.IsNaN(f.se) {
		effect = max(1, f.se*f.se/(1e4*p*(1-p)/n))
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
