package main

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr"
	"asworn/fitcorr/stats"
)

// shown is how many standard errors a mean must lie beyond its bar to be a miss:
// Student's t of the studies, two-sided at 99 %, as there are many bars. What few
// studies cannot tell is no miss.
func shown(studies int) float64 {
	return stats.StudentQuantile(0.995, float64(studies-1))
}

// shownRate is the same of a share, whose standard error follows from the share that
// the bar asks for (rateSE) and not from the spread.
const shownRate = 2.576

// A miss is a bar that is shown to be missed.
type miss struct {
	text string
	// honest bars are about whether what is stated holds (intervals that are too narrow,
	// wrong verdicts, answers not given), the others about how much is told (errors, rates
	// of verdicts, intervals that are too wide).
	honest bool
}

// misses lists the bars that a condition is shown to miss, in plain words.
func misses(r result) []miss {
	var out []miss
	add := func(honest bool, format string, args ...any) {
		out = append(out, miss{fmt.Sprintf("generator %s, %s: ", r.generator, r.name) + fmt.Sprintf(format, args...), honest})
	}
	n := len(r.scores)
	if n < 2 {
		add(true, "one study shows nothing")
		return out
	}
	above := func(what string, f figure, limit float64) {
		if limit > 0 && f.value-shown(n)*f.se > limit {
			add(false, "%s %s, at most %g", what, f.show(2), limit)
		}
	}
	below := func(honest bool, what string, f figure, limit float64) {
		if off := rateSE(f, limit, n); limit > 0 && f.value+shownRate*off < limit {
			add(honest, "%s %s, at least %g", what, f.show(1), limit)
		}
	}
	b := r.bars
	limits := map[int]float64{fixtureBlocked: b.fixtureMM, fixtureDrum: b.fixtureMM, wornHeadset: b.wornMM, panelMean: b.meanMM}
	for q := range quantities {
		for axis := range 2 {
			f := axisOf(r.scores, q, axis)
			above(fmt.Sprintf("%s, %s, RMS in mm", quantityNames[q], axisNames[axis]), f.rms, limits[q])
			lo, hi := coverage(b)
			off := shownRate * rateSE(f.cover, 95, n)
			missed := int(math.Round(float64(f.cover.n) * (1 - f.cover.value/100)))
			few := atLeast(missed, f.cover.n, 1-lo/100) > 0.005 // of which the standard error says too much
			if f.cover.value+off < lo && !few || f.cover.value-off > hi {
				add(f.cover.value < lo, "%s, %s, intervals cover %s %% of %d, %g to %g", quantityNames[q], axisNames[axis], f.cover.show(1), f.cover.n, lo, hi)
			}
		}
		if none := unanswered(r.scores, q); none > 0 && r.design.SurveySize > 0 {
			add(true, "%s: %d not answered", quantityNames[q], none)
		}
	}
	below(false, "use at 0 mm, %", rate(r.scores, at(0), fitcorr.Use), b.use)
	below(false, "move at 6 mm, %", rate(r.scores, at(6), fitcorr.Move), b.move)
	if _, count, of := wrongs(r.scores); of > 0 && atLeast(count, of, 0.01) < 0.005 {
		add(true, "%d of %d verdicts wrong, at most 1 %%", count, of)
	}
	l := leaksOf(r.scores)
	if l.n > 0 {
		below(true, "leak corner within 10 %, %", l.within10, 95)
	}
	below(true, "the panel's mean leak is covered in %", l.panel, 92)
	return out
}

// texts are misses in words.
func texts(all []miss) (out []string) {
	for _, m := range all {
		out = append(out, m.text)
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
