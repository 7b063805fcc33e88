package main

import (
	"fmt"
	"math"
	"slices"

	"asworn/fitcorr"
)

// figure is a number with its Monte Carlo standard error, from n trials.
type figure struct {
	value, se float64
	n         int
}

// clustered is the mean of a per-trial value over studies, with the standard
// error that follows from the spread between studies: trials of one study
// share their ears, their survey and their mean, and are not independent.
// It is the ratio estimator Σ totals / Σ counts (Cochran, Sampling Techniques, ch. 6).
func clustered(totals, counts []float64) figure {
	var t, n float64
	studies := 0.0
	for i := range totals {
		t += totals[i]
		n += counts[i]
		if counts[i] > 0 {
			studies++
		}
	}
	if n == 0 {
		return figure{math.NaN(), math.NaN(), 0}
	}
	mean := t / n
	if studies < 2 {
		return figure{mean, math.NaN(), int(n)}
	}
	ss := 0.0
	for i := range totals {
		d := totals[i] - mean*counts[i]
		ss += d * d
	}
	return figure{mean, math.Sqrt(ss*studies/(studies-1)) / n, int(n)}
}

// over applies a value to every trial of every study.
func over[T any](scores []score, trials func(score) []T, value func(T) float64) figure {
	totals, counts := make([]float64, len(scores)), make([]float64, len(scores))
	for i, s := range scores {
		for _, t := range trials(s) {
			totals[i] += value(t)
			counts[i]++
		}
	}
	return clustered(totals, counts)
}

func percent(yes bool) float64 {
	if yes {
		return 100
	}
	return 0
}

// axisFigures are the results for one quantity on one axis.
type axisFigures struct{ bias, rms, cover, gross, seen figure }

func axisOf(scores []score, q, axis int) axisFigures {
	trials := func(s score) []trial { return s.trials[q][axis] }
	square := over(scores, trials, func(t trial) float64 { return t.err * t.err })
	rms := math.Sqrt(square.value)
	return axisFigures{
		bias:  over(scores, trials, func(t trial) float64 { return t.err }),
		rms:   figure{rms, square.se / (2 * rms), square.n},
		cover: over(scores, trials, func(t trial) float64 { return percent(t.covered) }),
		gross: over(scores, trials, func(t trial) float64 { return percent(t.gross) }),
		seen:  over(scores, trials, func(t trial) float64 { return percent(t.seen) }),
	}
}

// judged picks the verdicts on some seatings.
func judged(which func(verdictTrial) bool) func(score) []verdictTrial {
	return func(s score) []verdictTrial {
		var out []verdictTrial
		for _, v := range s.verdicts {
			if which(v) {
				out = append(out, v)
			}
		}
		return out
	}
}

// at picks seatings at a true distance of the headset.
func at(distance float64) func(verdictTrial) bool {
	return func(v verdictTrial) bool { return math.Abs(v.distance-distance) < 0.01 }
}

// rate is the share of an outcome among some seatings, in %.
func rate(scores []score, which func(verdictTrial) bool, o fitcorr.Outcome) figure {
	return over(scores, judged(which), func(v verdictTrial) float64 { return percent(v.outcome == o) })
}

// wrongs are the forbidden verdicts among the seatings of which one is possible.
func wrongs(scores []score) (wrong figure, count, of int) {
	which := judged(func(v verdictTrial) bool { return v.far() || v.near() })
	for _, s := range scores {
		for _, v := range which(s) {
			of++
			if v.wrong() {
				count++
			}
		}
	}
	return over(scores, which, func(v verdictTrial) float64 { return percent(v.wrong()) }), count, of
}

// leakFigures are the results for leaks of more than 3 dB at 50 Hz.
type leakFigures struct {
	n                              int
	found, within10, loss, wrongly figure
	corner, panel                  figure  // coverage of the corner's and of the panel's mean loss, %
	median                         float64 // of the corner's absolute relative error, %
}

func leaksOf(scores []score) leakFigures {
	trials := func(s score) []leakTrial { return s.leaks }
	var abs []float64
	tight, called := make([]float64, len(scores)), make([]float64, len(scores))
	for i, s := range scores {
		for _, l := range s.leaks {
			abs = append(abs, 100*math.Abs(l.relative))
		}
		tight[i], called[i] = float64(s.tight), 100*float64(s.called)
	}
	out := leakFigures{
		n:        len(abs),
		found:    over(scores, trials, func(l leakTrial) float64 { return percent(l.found) }),
		within10: over(scores, trials, func(l leakTrial) float64 { return percent(l.found && math.Abs(l.relative) < 0.1) }),
		wrongly:  clustered(called, tight),
		corner: over(scores, func(s score) (found []leakTrial) {
			for _, l := range s.leaks {
				if l.found {
					found = append(found, l)
				}
			}
			return found
		}, func(l leakTrial) float64 { return percent(l.covered) }),
		panel:  over(scores, func(s score) []trial { return s.panelLeaks }, func(t trial) float64 { return percent(t.covered) }),
		median: math.NaN(),
	}
	square := over(scores, trials, func(l leakTrial) float64 { return l.lossErr * l.lossErr })
	out.loss = figure{math.Sqrt(square.value), square.se / (2 * math.Sqrt(square.value)), square.n}
	if len(abs) > 0 {
		slices.Sort(abs)
		out.median = abs[len(abs)/2]
	}
	return out
}

// result is one condition on one generator with the scores of its studies.
type result struct {
	condition
	generator string
	scores    []score
}

var (
	axisNames = [3]string{"forward", "up", "rotation"}
	outcomes  = [3]fitcorr.Outcome{fitcorr.Use, fitcorr.Move, fitcorr.Undetermined}
	distances = []float64{0, 0.8, 6, 7}
)

// show formats a figure with its standard error.
func (f figure) show(digits int) string {
	if math.IsNaN(f.se) {
		return number(f.value, digits)
	}
	return number(f.value, digits) + " ± " + number(f.se, digits)
}

// number formats a value, or a dash where there is none.
func number(v float64, digits int) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.*f", digits, v)
}

func (r result) label() string {
	star := ""
	if r.bars.misspecified {
		star = "*"
	}
	return r.generator + ", " + r.name + star
}
