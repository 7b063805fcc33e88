package main

import (
	"fmt"
	"io"
	"math"

	"asworn/fitcorr"
)

// summary writes one row per condition: forward / up of the headset, and the
// verdicts of both ears together, against the bars of the method.
func summary(w io.Writer, results []result) {
	fmt.Fprint(w, `
## In short

Headset, forward / up. Bars: RMS error 0.7, 2 and 1 mm; intervals cover 93–97 %;
gross errors below 1 %; leak corner within 10 %; at 0 mm matches ≥ 80 %, adjust
≤ 1 %; at 6 mm adjust ≥ 90 %, matches ≤ 1 %. Wrong: matches with the headset 6 mm
or a cup 4 mm off or more, adjust with both cups within 1 mm; of all verdicts ≤ 1 %.

| condition | fixture RMS, mm | covers, % | worn RMS, mm | covers, % | panel's mean RMS, mm | covers, % | people's mean RMS, mm | covers, % | worst gross, % | corner within 10 %, % | 0 mm: matches, adjust, % | 6 mm: adjust, matches, % | matches, adjust, wrong: all, % |
|---|---|---|---|---|---|---|---|---|---|---|---|---|---|
`)
	for _, r := range results {
		fmt.Fprintf(w, "| %s |", r.name)
		gross := 0.0
		for _, q := range []int{fixtureHeadset, wornHeadset, panelMean, wornMean} {
			forward, up := axisOf(r.scores, q, 0), axisOf(r.scores, q, 1)
			fmt.Fprintf(w, " %s / %s | %s / %s |", number(forward.rms.value, 2), number(up.rms.value, 2),
				number(forward.cover.value, 0), number(up.cover.value, 0))
			gross = math.Max(gross, math.Max(forward.gross.value, up.gross.value))
		}
		rate := func(d float64, o fitcorr.Outcome) string {
			return number(over(r.scores, near(d), func(v verdictTrial) float64 { return percent(v.outcome == o) }).value, 1)
		}
		all := func(is func(verdictTrial) bool) string {
			trials := func(s score) []verdictTrial { return s.verdicts }
			return number(over(r.scores, trials, func(v verdictTrial) float64 { return percent(is(v)) }).value, 1)
		}
		fmt.Fprintf(w, " %s | %s | %s, %s | %s, %s | %s, %s, %s |\n", number(gross, 1), number(leaksOf(r.scores).within10.value, 0),
			rate(0, fitcorr.Matches), rate(0, fitcorr.Adjust), rate(6, fitcorr.Adjust), rate(6, fitcorr.Matches),
			all(func(v verdictTrial) bool { return v.outcome == fitcorr.Matches }),
			all(func(v verdictTrial) bool { return v.outcome == fitcorr.Adjust }), all(verdictTrial.wrong))
	}
}

// number formats a value, or a dash where there is none.
func number(v float64, digits int) string {
	if math.IsNaN(v) {
		return "–"
	}
	return fmt.Sprintf("%.*f", digits, v)
}
