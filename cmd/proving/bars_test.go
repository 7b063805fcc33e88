package main

import (
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// told is what the estimator reaches today where positions are read once, with a margin of a
// tenth: the method asks for more, which docs/developing/proving.md says beside what is
// reached. Intervals and wrong verdicts are held to the method's own bars.
var told = bars{fixtureMM: 0.75, wornMM: 1.4, meanMM: 0.85, use: 50, move: 83}

// proved is what studies came to that more than one test asks.
var proved = newNotes()

// barGroup is conditions whose studies TestBars holds to bars together.
type barGroup struct {
	name    string
	bars    bars
	studies int         // of each
	of      [][2]string // generator, condition
}

func barGroups() []barGroup {
	return []barGroup{
		{"as the method assumes", told, 2, [][2]string{{"a", "read"}, {"b", "read"}, {"d", "read"}}},
		{"misspecified", bars{misspecified: true}, 1, [][2]string{
			{"a", "fixture-ear-2"}, {"d", "read-yaw-4"}, {"a", "read-half"}, {"d", "read-leaks"}, {"b", "read-even"}, {"a", "read-readers"},
		}},
	}
}

// barSeed is the seed of the first study of a condition in TestBars.
func barSeed(generator, condition string) uint64 {
	seed := uint64(3000)
	for _, g := range barGroups() {
		for _, c := range g.of {
			if c == [2]string{generator, condition} {
				return seed
			}
			seed += conditionSeeds
		}
	}
	panic("TestBars has no " + condition + " by generator " + generator)
}

// The bars on studies of all conditions that are run here together: what one study
// more or less says of a bar is nothing. ASWORN_PROVING sets how many of each (2 and 1
// in all tests).
func TestBars(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	times := 1
	if s := os.Getenv("ASWORN_PROVING"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal("ASWORN_PROVING: ", err)
		}
		times = n
	}
	groups := barGroups()
	var results []result
	for _, g := range groups {
		for _, c := range g.of {
			cond := named(c[1])
			cond.design.Laws, cond.seed = generators[c[0]].laws, barSeed(c[0], c[1])
			results = append(results, result{cond, c[0], make([]score, times*g.studies)})
		}
	}
	if err := prove(t.Context(), results, 2, proved); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	markdown(&b, results)
	t.Log("\n" + b.String())
	for _, g := range groups {
		all := result{condition: condition{name: g.name, bars: g.bars, design: ordinary()}}
		for _, r := range results[:len(g.of)] {
			all.generator += r.generator
			all.scores = append(all.scores, r.scores...)
		}
		results = results[len(g.of):]
		for _, m := range misses(all) {
			t.Error(m.text)
		}
	}
}

// Of the curves corrected between 1 and 10 kHz 95 % must come nearer to the
// truth, and the error of seatings 4 mm off must fall, on all generators
// together, as far as the studies show: one each, or as many as ASWORN_PROVING says.
func TestCorrectionBars(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	studies := 1
	if n, err := strconv.Atoi(os.Getenv("ASWORN_PROVING")); err == nil {
		studies = n
	}
	var results []result
	for _, g := range []string{"a", "b", "d"} {
		c := named("read-off-4")
		c.design.Laws, c.seed = generators[g].laws, 3000
		results = append(results, result{c, g, make([]score, studies)})
	}
	if err := prove(t.Context(), results, 2, proved); err != nil {
		t.Fatal(err)
	}
	var all []score
	for _, r := range results {
		all = append(all, r.scores...)
		before, after, nearer := corrected(r.scores)
		t.Logf("%s, 4 mm off: %s dB before, %s dB after correction; nearer %s %%", r.generator, before.show(2), after.show(2), nearer.show(1))
	}
	before, after, nearer := corrected(all)
	if nearer.n < 15*len(all) {
		t.Errorf("%d curves corrected in %d studies", nearer.n, len(all))
	}
	if nearer.value+shownRate*rateSE(nearer, 95, len(all)) < 95 {
		t.Errorf("of the corrected curves %s %% come nearer, at least 95", nearer.show(1))
	}
	if after.value > 0.75*before.value {
		t.Errorf("errors of seatings 4 mm off fall from %s to %s dB, less than by a quarter", before.show(2), after.show(2))
	}
}

// corrected are the errors of curves 4 mm off before and after their correction, dB,
// and the share of all corrected curves that come nearer, %.
func corrected(scores []score) (before, after, nearer figure) {
	trials := func(keep func(correctionTrial) bool) func(score) []correctionTrial {
		return func(s score) []correctionTrial {
			return slices.DeleteFunc(slices.Clone(s.corrections), func(c correctionTrial) bool { return !keep(c) })
		}
	}
	away := trials(func(c correctionTrial) bool { return c.distance > 3.9 })
	before = over(scores, away, func(c correctionTrial) float64 { return c.whole[0] })
	after = over(scores, away, func(c correctionTrial) float64 { return c.whole[1] })
	nearer = over(scores, trials(func(c correctionTrial) bool { return c.applied }), func(c correctionTrial) float64 { return percent(c.whole[1] < c.whole[0]) })
	return before, after, nearer
}

func named(name string) condition {
	all := conditions()
	return all[slices.IndexFunc(all, func(c condition) bool { return c.name == name })]
}
