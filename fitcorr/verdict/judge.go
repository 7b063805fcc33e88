package verdict

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// Judge holds a fixture seating, s, that sits at a place against the worn mean.
func Judge(s seat.Seating, at position.FixtureSeating, t *Target, open bool, opt seat.Options) Verdict {
	o := at.Offset
	v := Verdict{ID: o.ID, Seating: o.Seating}
	diff, sum := t.apart(at.Pos, at.Cov)
	wide := mat.NewSymDense(placing.HeadsetDim, nil)
	wide.AddSym(placing.WornPrior(), placing.FixturePrior().Cov)
	ears, head := placing.Estimates(diff, sum, wide)
	df := stats.PooledDF(t.planeVariance(), t.DF, o.Headset.PlaneVariance(), o.Headset.DF)
	ears[0].DF, ears[1].DF, head.DF = df, df, df
	p := JudgePosition(ears, head, opt.MaxOffsetMM, opt.Confidence)
	if len(at.Posterior) > 1 {
		p = judgeNumbers(numbersOf(at.Posterior, t, df, opt.MaxOffsetMM), opt.Confidence)
	}
	v.Outcome, v.Decides, v.DistanceMM = p.Outcome, p.Decides, p.Distance()
	if len(o.Places) > 1 || o.Quarrel {
		v.Outcome = Undetermined // which of the places it is, only a reading tells
	}
	off := [3]seat.Estimate{ears[0], ears[1], head}
	for i, to := range [3]*EarVerdict{&v.Ears[0], &v.Ears[1], &v.Headset} {
		to.Off, to.Outcome, to.DistanceMM = off[i], p.Parts[i], p.DistancesMM[i]
	}
	judgeLeak(&v, o, t, open, opt)
	v.Verdict = v.Together()
	v.settle(s, at, t, opt)
	v.Readings = ByReadings(s, t, opt)
	v.Nearest = nearest(at.Pos, at.Cov, t.Worn)
	return v
}
