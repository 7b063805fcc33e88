package verdict

import (
	"fmt"
	"math"
	"strings"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// worthSaying is the least gain in a rate that an action is named for, beside the first.
const worthSaying = 0.05

// settle says what would settle an undetermined verdict, most useful first, and
// sets its budget.
func (v *Verdict) settle(s seat.Seating, at position.FixtureSeating, t *Target, opt seat.Options) {
	if v.Outcome != Undetermined {
		return
	}
	o := at.Offset
	switch {
	case o.Quarrel:
		v.Settle = []Remedy{{Do: "its position read again, or a recording made again: sound and reading lie apart beyond chance, and neither is trusted"}}
		return
	case len(o.Places) > 1:
		var places []string
		for _, p := range o.Places {
			places = append(places, placeWords(p))
		}
		v.Settle = []Remedy{{Do: "one reading of its position with a ruler: the sound cannot tell " + strings.Join(places, " from ") + ", of the marked position"}}
		return
	}
	terms, use, move := budget(s, at, t, v.Headset.Off.DF, opt)
	v.Budget = terms
	d := v.DistanceMM
	if sd := (d[2] - d[0]) / 2; sd < opt.MaxOffsetMM/4 && math.Abs(d[0]-opt.MaxOffsetMM) < sd {
		// The data are good: no more of them will tell what lies on the border.
		v.Settle = []Remedy{{Do: "seating it again nearer the worn mean: it lies close to the tolerance itself"}}
		return
	}
	for _, x := range terms {
		switch {
		case x.Action == "":
		case x.AfterMM == 0:
			if len(v.Settle) == 0 {
				v.Settle = append(v.Settle, Remedy{Do: x.Action})
			}
		case len(v.Settle) == 0, len(v.Settle) < 2 && (x.Use-use > worthSaying || x.Move-move > worthSaying):
			v.Settle = append(v.Settle, Remedy{x.Action, fmt.Sprintf("then use of a seating in place is expected in %s instead of %s %%, move of one %g mm off in %s instead of %s %%",
				percent(x.Use), percent(use), 2*opt.MaxOffsetMM, percent(x.Move), percent(move))})
		}
	}
}

// percent rounds an expected rate to what such a forecast is good for.
func percent(rate float64) string { return fmt.Sprintf("%.0f", 10*math.Round(10*rate)) }

// placeWords names one of several places by the mean of both cups.
func placeWords(p placing.Place) string {
	axis := func(mm float64, more, less string) string {
		if mm < 0 {
			return fmt.Sprintf("%.0f mm %s", -mm, less)
		}
		return fmt.Sprintf("%.0f mm %s", mm, more)
	}
	return axis(p.ForwardMM, "forward", "back") + " and " + axis(p.UpMM, "up", "down")
}
