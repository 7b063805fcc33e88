package verdict

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// Outcome is a verdict in the word that tables, page and JSON show.
type Outcome string

// The three outcomes of position (equivalence by two one-sided tests), and those
// of position and seal together. Only Verdict.Verdict holds the latter.
const (
	Use          Outcome = "use"
	Move         Outcome = "move"
	Undetermined Outcome = "undetermined"
	Reseal       Outcome = "reseal"
	MoveReseal   Outcome = "move, reseal"
)

// Seal is how a cup seals against the worn ones.
type Seal string

// The seals. A cup that is tighter than worn cannot be mended by hand.
const (
	SealAsWorn       Seal = "as worn"
	SealLeaks        Seal = "leaks"
	SealTighter      Seal = "tighter than worn"
	SealUndetermined Seal = "undetermined"
)

// EarVerdict is the verdict on one ear or on the headset.
type EarVerdict struct {
	Outcome Outcome `json:"position"`
	// Off is the seating minus the worn mean; the move to make is its negative.
	Off seat.Estimate `json:"off"`
	// Distance is the offset's length in mm in the forward-up plane, with its interval.
	DistanceMM [3]float64 `json:"distance_mm"` // estimate, lower, upper
	// Seal and LeakExcessDB compare the loss at 50 Hz with the worn one.
	Seal         Seal       `json:"seal"`
	LeakExcessDB [3]float64 `json:"leak_excess_db"` // estimate, lower, upper
	// LeakWhy says why a seal is undetermined and what would tell.
	LeakWhy string `json:"leak_why,omitempty"`
}

// Verdict is the judgement of one fixture seating against the worn ones.
type Verdict struct {
	ID      string  `json:"id"`
	Seating int     `json:"seating"`
	Verdict Outcome `json:"verdict"`  // of position and seal together
	Outcome Outcome `json:"position"` // of position, both cups considered
	// Decides says which number the outcome rests on, DistanceMM is that number:
	// the distance from the worn mean, mm: estimate, lower, upper.
	Decides    Part          `json:"decides"`
	DistanceMM [3]float64    `json:"distance_mm"`
	Ears       [2]EarVerdict `json:"ears"`
	Headset    EarVerdict    `json:"headset"`
	Settle     []string      `json:"settle,omitempty"` // what would settle an undetermined one
	// Budget takes the uncertainty of an undetermined one apart, the term whose
	// action gains most first.
	Budget []Term `json:"budget,omitempty"`
	// Readings is what the reading of this seating says without any sound, nil
	// where it or the panel was not read.
	Readings *Alone `json:"readings_alone,omitempty"`
	// Nearest lists worn seatings by likelihood, most alike first.
	Nearest []Likeness `json:"nearest,omitempty"`
}

// Together puts position and seal into one outcome: a cup that leaks more than
// it does on people is to be resealed, whatever its position.
func (v Verdict) Together() Outcome {
	leaks := v.Ears[0].Seal == SealLeaks || v.Ears[1].Seal == SealLeaks
	switch {
	case leaks && v.Outcome == Move:
		return MoveReseal
	case leaks:
		return Reseal
	}
	return v.Outcome
}

// Likeness is a worn seating and its share of the likelihood.
type Likeness struct {
	ID    string  `json:"id"`
	Share float64 `json:"share"`
}

// Judge holds a fixture seating, s, that sits at a place against the worn mean.
func Judge(s seat.Seating, at position.FixturePlace, t *Target, open bool, opt seat.Options) Verdict {
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
