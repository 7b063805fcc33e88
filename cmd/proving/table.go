package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strings"

	"asworn/fitcorr"
)

// result is one condition with the scores of its studies.
type result struct {
	condition
	scores []score
}

var (
	axisNames    = [3]string{"forward", "up", "rotation"}
	outcomes     = [3]fitcorr.Outcome{fitcorr.Matches, fitcorr.Adjust, fitcorr.Undetermined}
	trueDistance = []float64{0, 3, 6}
)

// show formats a figure with its standard error.
func (f figure) show(digits int) string {
	if math.IsNaN(f.se) {
		return number(f.value, digits)
	}
	return number(f.value, digits) + " ± " + number(f.se, digits)
}

// markdown writes the tables for people.
func markdown(w io.Writer, results []result) {
	fmt.Fprint(w, "± is the Monte Carlo standard error, clustered by study. Lengths in mm, rotation in degrees.\n\n")
	fmt.Fprint(w, "| condition | | studies | failed | s per analysis, by the clock |\n|---|---|---|---|---|\n")
	for _, r := range results {
		failed, seconds := 0, 0.0
		for _, s := range r.scores {
			if s.failed != nil {
				failed++
			}
			seconds += s.seconds
		}
		fmt.Fprintf(w, "| %s | %s | %d | %d | %.2f |\n", r.name, r.what, len(r.scores), failed, seconds/float64(len(r.scores)))
	}
	summary(w, results)
	fmt.Fprint(w, "\n## Offsets\n\n| condition | quantity | axis | bias | RMS error | 95 % interval covers, % | gross errors, % | axis seen, % | not answered |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, r := range results {
		for q := range quantities {
			missing := 0
			for _, s := range r.scores {
				missing += s.missing[q]
			}
			for a := range 3 {
				f := axisOf(r.scores, q, a)
				fmt.Fprintf(w, "| %s | %s | %s | %s | %s | %s | %s | %s | %d |\n", r.name, quantityNames[q], axisNames[a],
					f.bias.show(2), f.rms.show(2), f.cover.show(1), f.gross.show(1), number(f.seen.value, 0), missing)
			}
		}
	}
	fmt.Fprint(w, "\n## Verdicts, by the true distance from the worn mean\n\n| condition | mm | matches, % | adjust, % | undetermined, % | headset alone: matches / adjust / undetermined, % | none given |\n|---|---|---|---|---|---|---|\n")
	for _, r := range results {
		none := 0
		for _, s := range r.scores {
			none += s.noVerdict
		}
		for _, d := range trueDistance {
			var both, headset []string
			for _, o := range outcomes {
				both = append(both, over(r.scores, near(d), func(v verdictTrial) float64 { return percent(v.outcome == o) }).show(1))
				headset = append(headset, number(over(r.scores, near(d), func(v verdictTrial) float64 { return percent(v.headset == o) }).value, 1))
			}
			fmt.Fprintf(w, "| %s | %.0f | %s | %s | %d |\n", r.name, d, strings.Join(both, " | "), strings.Join(headset, " / "), none)
		}
	}
	corrections(w, results)
	fmt.Fprint(w, "\n## Leaks of more than 3 dB at 50 Hz\n\n| condition | ears | called a leak, % | corner within 10 %, % | corner's median error, % | loss at 50 Hz, RMS error dB | sealed ears called a leak, % |\n|---|---|---|---|---|---|---|\n")
	for _, r := range results {
		l := leaksOf(r.scores)
		fmt.Fprintf(w, "| %s | %d | %s | %s | %s | %s | %s |\n", r.name, l.n, l.found.show(1), l.within10.show(1), number(l.median, 1), l.loss.show(2), l.wrongly.show(1))
	}
}

// writeCSV writes the same in long form: condition, quantity, axis, figure, value, standard error.
func writeCSV(out io.Writer, results []result) error {
	w := csv.NewWriter(out)
	w.Write([]string{"condition", "quantity", "axis", "figure", "value", "standard_error"})
	put := func(c, q, a, name string, f figure) {
		if !math.IsNaN(f.value) {
			w.Write([]string{c, q, a, name, fmt.Sprintf("%.4g", f.value), fmt.Sprintf("%.2g", f.se)})
		}
	}
	for _, r := range results {
		for q, qn := range quantityNames {
			for a, an := range axisNames {
				f := axisOf(r.scores, q, a)
				put(r.name, qn, an, "bias", f.bias)
				put(r.name, qn, an, "rms", f.rms)
				put(r.name, qn, an, "coverage_percent", f.cover)
				put(r.name, qn, an, "gross_percent", f.gross)
			}
		}
		for _, d := range trueDistance {
			for _, o := range outcomes {
				put(r.name, fmt.Sprintf("verdict at %.0f mm", d), "", string(o),
					over(r.scores, near(d), func(v verdictTrial) float64 { return percent(v.outcome == o) }))
			}
		}
		l := leaksOf(r.scores)
		put(r.name, "leak", "", "found_percent", l.found)
		put(r.name, "leak", "", "corner_within_10_percent", l.within10)
		put(r.name, "leak", "", "loss_50hz_rms_db", l.loss)
		put(r.name, "leak", "", "false_percent", l.wrongly)
	}
	w.Flush()
	return w.Error()
}
