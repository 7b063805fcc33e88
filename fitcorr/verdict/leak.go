package verdict

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// leakToleranceDB is the excess loss at 50 Hz that counts as a leak of its own.
const leakToleranceDB = 1.5

// judgeLeak compares the loss at 50 Hz with the worn one.
func judgeLeak(v *Verdict, o position.Offset, t *Target, open bool, opt seat.Options) {
	z := distuv.UnitNormal.Quantile((1 + opt.Confidence) / 2)
	one := distuv.UnitNormal.Quantile(opt.Confidence)
	var worst Outcome = Matches
	for e := range 2 {
		ev := &v.Ears[e]
		ev.LeakOutcome = Undetermined
		if open {
			ev.LeakOutcome = Matches
			continue
		}
		if o.Leak[e].Class == "" {
			worst = Undetermined
			continue
		}
		diff := o.Leak[e].LossDB[1] - t.LossDB[e][1]
		worn := t.LossSD[e][1] / math.Sqrt(math.Max(1, float64(t.Seatings)))
		se := math.Hypot(o.Leak[e].LossSE[1], worn)
		ev.LeakExcessDB = [3]float64{diff, diff - z*se, diff + z*se}
		switch {
		case math.Abs(diff)+one*se < leakToleranceDB:
			ev.LeakOutcome = Matches
		case math.Abs(diff)-one*se > leakToleranceDB:
			ev.LeakOutcome = Adjust
		}
		if ev.LeakOutcome == Adjust || (ev.LeakOutcome == Undetermined && worst == Matches) {
			worst = ev.LeakOutcome
		}
	}
	v.Headset.LeakOutcome = worst
	if math.Abs(v.Ears[0].LeakExcessDB[0]) > math.Abs(v.Ears[1].LeakExcessDB[0]) {
		v.Headset.LeakExcessDB = v.Ears[0].LeakExcessDB
	} else {
		v.Headset.LeakExcessDB = v.Ears[1].LeakExcessDB
	}
}
