package main

import (
	"context"
	"fmt"
	"io"
	"slices"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr/earlier"
)

// who writes how often bare ears tell that a listener, or the fixture, is who an
// earlier study knows: eight listeners, and one person more to stand in for somebody.
func who(ctx context.Context, w io.Writer, name rune, world simulate.World, seed uint64, studies int) error {
	const listeners = 8
	const size = 0.05
	stranger := fmt.Sprintf("L%02d", listeners+1)
	renamed := func(bare []earlier.Bare, to map[string]string) []earlier.Bare {
		var out []earlier.Bare
		for _, b := range bare {
			if n, ok := to[b.Subject]; ok {
				b.Subject = n
			}
			if b.Subject != "" && b.Subject != stranger {
				out = append(out, b)
			}
		}
		return out
	}
	const fixture = capture.FixtureSubject
	var falseListener, falseFixture, changed, changedOthers, exchanged, exchangedOthers, other, otherListener int
	for i := range studies {
		s := seed + uint64(i)
		d := simulate.BarDesign()
		d.Listeners, d.Closed, d.Open = listeners+1, 1, 0
		drawn := simulate.Draw(s, d, world)
		drawn.Design.Readings = false
		two, err := drawSeries(ctx, drawn, s, 2)
		if err != nil {
			return err
		}
		then, now := renamed(two.panels[0].Bare, nil), two.panels[1].Bare
		test := func(to map[string]string) earlier.Compared { return earlier.Compare(renamed(now, to), then, size) }
		found := func(c earlier.Compared, who, as string) bool {
			return slices.ContainsFunc(c.Doubts, func(d earlier.Doubt) bool { return d.Subject == who && (as == "" || d.As == as) })
		}
		count := func(n *int, is bool) {
			if is {
				*n++
			}
		}
		c := test(nil)
		count(&falseListener, len(c.Doubts) > 0)
		count(&falseFixture, c.Fixture != nil)
		c = test(map[string]string{"L01": "", stranger: "L01"})
		count(&changed, found(c, "L01", ""))
		count(&changedOthers, len(c.Doubts) > 1 || c.Fixture != nil)
		c = test(map[string]string{"L01": "L02", "L02": "L01"})
		count(&exchanged, found(c, "L01", "L02") && found(c, "L02", "L01"))
		count(&exchangedOthers, len(c.Doubts) > 2 || c.Fixture != nil)
		c = test(map[string]string{fixture: "", stranger: fixture})
		count(&other, c.Fixture != nil)
		count(&otherListener, len(c.Doubts) > 0)
	}
	percent := func(n int) string { return fmt.Sprintf("%.0f", 100*float64(n)/float64(studies)) }
	_, err := fmt.Fprintf(w, "| %c | %d | %s | %s | %s | %s | %s | %s | %s | %s |\n", name-'a'+'A', studies, percent(falseListener), percent(falseFixture),
		percent(changed), percent(changedOthers), percent(exchanged), percent(exchangedOthers), percent(other), percent(otherListener))
	return err
}

const whoHead = `| generator | studies | nobody changed: a listener doubted | the fixture doubted | another person as L01: found | and others doubted | L01 and L02 exchanged: both named | and others doubted | another fixture: found | and listeners doubted |
|---|---|---|---|---|---|---|---|---|---|
`
