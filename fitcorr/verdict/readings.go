package verdict

import (
	"asworn/fitcorr/placing"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// NewRuler returns the worn mean of the readings of one model's worn seatings, with
// standard uncertainties as stated or learned; nil when fewer than two were read. Means
// are mm, variances mm².
func NewRuler(ss []seat.Seating, opt seat.Options) *Ruler {
	u := seat.ReadingOr(opt.Reading)
	var r Ruler
	var n float64
	per := map[string]float64{}
	for _, s := range ss {
		if s.Worn() && s.Read != nil {
			r.Mean[0] += s.Read.ForwardMM
			r.Mean[1] += s.Read.UpMM
			r.OneVar += u.OneMM * u.OneMM / s.Readings()
			per[s.Subject]++
			n++
		}
	}
	if n < 2 {
		return nil
	}
	for a := range r.Mean {
		r.Mean[a] /= n
	}
	squares := 0.0 // of whole numbers: exact in any order
	for _, k := range per {
		squares += k * k
	}
	r.OneVar /= n * n
	r.LandmarkVar = squares / (n * n) * u.LandmarkMM * u.LandmarkMM
	return &r
}

// ByReadings judges a fixture seating by its reading alone: the difference of two
// readings, in which the point of the cup cancels and the errors of single readings, of
// the listeners' landmarks, of the fixture's and of how people turn a headband add,
// each known with reading.StatedDF degrees of freedom. Nil where the seating or the panel was not read.
func ByReadings(s seat.Seating, t *Target, opt seat.Options) *Alone {
	if s.Read == nil || t.Ruler == nil {
		return nil
	}
	u := seat.ReadingOr(opt.Reading)
	one := u.OneMM*u.OneMM/s.Readings() + t.Ruler.OneVar
	fixture := u.FixtureLandmarkMM*u.FixtureLandmarkMM + placing.ReadTurnMM*placing.ReadTurnMM
	learned := one + t.Ruler.LandmarkVar
	df := stats.PooledDF(learned, stats.PooledDF(one, reading.StatedDF, t.Ruler.LandmarkVar, reading.StatedDF), fixture, reading.StatedDF)
	e := seat.Estimate{DF: df}
	for a, r := range [placing.ReadDim]float64{s.Read.ForwardMM, s.Read.UpMM} {
		e.Value[a] = r - t.Ruler.Mean[a]
		e.Cov[a][a] = learned + fixture
	}
	out := Alone{Off: e}
	out.Outcome, out.DistanceMM = judgeAlone(e, opt.MaxOffsetMM, opt.Confidence)
	return &out
}

// judgeAlone holds one distance against a tolerance in mm, each test at the whole size.
func judgeAlone(e seat.Estimate, tol, confidence float64) (Outcome, [3]float64) {
	at := newSize(1-confidence, e.DF)
	d := oneTest(newDistanceTests(e, tol)).limits(sizes{alone: at, shared: at})
	switch {
	case d[2] <= tol:
		return Use, d
	case d[1] >= tol:
		return Move, d
	}
	return Undetermined, d
}
