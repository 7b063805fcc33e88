package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"

	"asworn/fitcorr"
)

// markdown writes the tables for people; the JSON has all of it.
func markdown(w io.Writer, results []result) {
	fmt.Fprint(w, `Lengths in mm, forward / up; ± is the Monte Carlo standard error, clustered by
study. *Covers* is the share of true values within the stated 95 % intervals, in %,
forward / up together; seatings on the fixture farther than 8 mm from the mark lie beyond the survey and
stand by themselves; a star marks a condition that is misspecified on purpose.

| generator, condition | studies | fixture, drum: RMS | covers | fixture, blocked: RMS | covers | beyond the survey: RMS | covers | each cup covers | worn: RMS | covers | each cup covers | panel's mean: RMS | covers | each cup covers |
|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|
`)
	for _, r := range results {
		fmt.Fprintf(w, "| %s | %d |", r.label(), len(r.scores))
		for _, q := range []struct{ headset, cup int }{{fixtureDrum, -1}, {fixtureBlocked, -1}, {fixtureBeyond, fixtureCup}, {wornHeadset, wornCup}, {panelMean, panelCup}} {
			forward, up := axisOf(r.scores, q.headset, 0), axisOf(r.scores, q.headset, 1)
			fmt.Fprintf(w, " %s / %s | %s |", forward.rms.show(2), up.rms.show(2), coverOf(r.scores, q.headset))
			if q.cup >= 0 {
				fmt.Fprintf(w, " %s |", coverOf(r.scores, q.cup))
			}
		}
		fmt.Fprintln(w)
	}
	fmt.Fprint(w, `
Verdicts as reported, by the true distance of the headset from the panel's mean, in %.
*Wrong*: `+"`use`"+` of a headset 6 mm off or a cup 4 mm off, `+"`move`"+` of a headset within 1 mm with
both cups within 3 mm, of the seatings of which one of them is possible. Leaks: ears that
lose more than 3 dB at 50 Hz; the panel's leak is its mean loss at 50 Hz as an estimate of people's.

| generator, condition | 0 mm: use, move | 0.8 mm: use, move | 6 mm: use, move | wrong | not judged | leaks | corner within 10 % | corner covered | panel's leak covered |
|---|---|---|---|---|---|---|---|---|---|
`)
	for _, r := range results {
		fmt.Fprintf(w, "| %s |", r.label())
		for _, mm := range []float64{0, 0.8, 6} {
			fmt.Fprintf(w, " %s, %s |", rate(r.scores, at(mm), fitcorr.Use).show(0), rate(r.scores, at(mm), fitcorr.Move).show(0))
		}
		_, wrong, of := wrongs(r.scores)
		none := 0
		for _, s := range r.scores {
			none += s.noVerdict
		}
		l := leaksOf(r.scores)
		fmt.Fprintf(w, " %d of %d | %d | %d | %s | %s | %s |\n", wrong, of, none, l.n, number(l.within10.value, 0), l.corner.show(0), l.panel.show(0))
	}
	corrections(w, results)
	surfaceGains(w, results)
}

// coverOf shows the coverage forward and up together.
func coverOf(scores []score, q int) string {
	return over(scores, func(s score) []trial { return append(append([]trial(nil), s.trials[q][0]...), s.trials[q][1]...) },
		func(t trial) float64 { return percent(t.covered) }).show(0)
}

// line is one figure of the JSON.
type line struct {
	Generator string  `json:"generator"`
	Condition string  `json:"condition"`
	Studies   int     `json:"studies"`
	Quantity  string  `json:"quantity"`
	Axis      string  `json:"axis,omitempty"`
	Figure    string  `json:"figure"`
	Value     float64 `json:"value"`
	StdErr    float64 `json:"standard_error"` // 0 from a single study
	Trials    int     `json:"trials"`
}

// writeJSON writes every figure there is, and the bars that are missed.
func writeJSON(w io.Writer, results []result) error {
	out := struct {
		Figures []line   `json:"figures"`
		Missed  []string `json:"missed"`
	}{Figures: []line{}, Missed: []string{}}
	for _, r := range results {
		put := func(quantity, axis, name string, f figure) {
			if math.IsNaN(f.value) {
				return
			}
			if math.IsNaN(f.se) {
				f.se = 0
			}
			out.Figures = append(out.Figures, line{r.generator, r.name, len(r.scores), quantity, axis, name, f.value, f.se, f.n})
		}
		for q, name := range quantityNames {
			for a, axis := range axisNames {
				f := axisOf(r.scores, q, a)
				put(name, axis, "bias", f.bias)
				put(name, axis, "rms", f.rms)
				put(name, axis, "covered_percent", f.cover)
				put(name, axis, "gross_percent", f.gross)
				put(name, axis, "seen_percent", f.seen)
			}
			put(name, "", "not_answered", figure{value: float64(unanswered(r.scores, q))})
		}
		for _, mm := range distances {
			for _, o := range outcomes {
				put(fmt.Sprintf("verdict at %g mm", mm), "", string(o)+"_percent", rate(r.scores, at(mm), o))
			}
		}
		wrong, count, of := wrongs(r.scores)
		put("verdict", "", "wrong_percent", wrong)
		put("verdict", "", "wrong", figure{value: float64(count), n: of})
		put("verdict", "", "wrong_use_percent", rate(r.scores, verdictTrial.far, fitcorr.Use))
		put("verdict", "", "wrong_move_percent", rate(r.scores, verdictTrial.near, fitcorr.Move))
		l := leaksOf(r.scores)
		put("leak", "", "found_percent", l.found)
		put("leak", "", "corner_within_10_percent", l.within10)
		put("leak", "", "corner_covered_percent", l.corner)
		put("leak", "", "loss_50hz_rms_db", l.loss)
		put("leak", "", "sealed_called_leak_percent", l.wrongly)
		put("leak", "", "panel_covered_percent", l.panel)
		if r.method {
			out.Missed = append(out.Missed, texts(misses(r))...)
		}
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

// surfaceGains writes, of every condition of surfaces, how much nearer the panel's mean
// comes than without any, study by study.
func surfaceGains(w io.Writer, results []result) {
	byName := func(generator, name string) []score {
		i := slices.IndexFunc(results, func(r result) bool { return r.generator == generator && r.name == name })
		if i < 0 {
			return nil
		}
		return results[i].scores
	}
	if !slices.ContainsFunc(results, func(r result) bool { return r.name == noSurfaces }) {
		return
	}
	fmt.Fprint(w, `
The new model's panel mean: mean square error per axis, mm², forward and up together, and how much less it is
than in the same studies with nobody displaced and no earlier model (surfaces-0), and than with displaced rows that
tell nothing (surfaces-alike-0); positive is a gain, with its standard error over studies. *Alike*: correlation of what
the ears do otherwise than the fixture's under the new model and under the earlier ones.

| generator, condition | mean square error | less than surfaces-0 | less than surfaces-alike-0 | alike |
|---|---|---|---|---|
`)
	of := func(v []float64) string {
		if len(v) == 0 {
			return "–"
		}
		ones := make([]float64, len(v))
		for i := range ones {
			ones[i] = 1
		}
		return clustered(v, ones).show(2)
	}
	for _, r := range results {
		if r.surfaces == nil {
			continue
		}
		var squares, alike []float64
		for _, s := range r.scores {
			if one := s.meanSquare(); !math.IsNaN(one) {
				squares = append(squares, one)
				if r.surfaces.alike > 0 {
					alike = append(alike, s.alike)
				}
			}
		}
		less := func(than []score) (out []float64) {
			for i := range than {
				if d := than[i].meanSquare() - r.scores[i].meanSquare(); !math.IsNaN(d) {
					out = append(out, d)
				}
			}
			return out
		}
		nothing := []score(nil)
		if r.surfaces.alike > 0 {
			nothing = byName(r.generator, surfaces{foretold: true}.name())
		}
		fmt.Fprintf(w, "| %s | %s | %s | %s | %s |\n", r.label(), of(squares), of(less(byName(r.generator, noSurfaces))), of(less(nothing)), of(alike))
	}
}

// meanSquare is that of the error of the panel's mean per axis, forward and up; NaN without one.
func (s score) meanSquare() float64 {
	var sum, n float64
	for a := range 2 {
		for _, t := range s.trials[panelMean][a] {
			sum, n = sum+t.err*t.err, n+1
		}
	}
	return sum / n
}
