package plan

import (
	"cmp"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/order"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/verdict"
	"asworn/report"
)

// Basis is what a forecast goes by: standard uncertainties per axis, mm.
type Basis struct {
	// Ears is that of the panel's mean position from sound alone (three models,
	// bare-ear references, eight listeners), EarsOwn what each cup has besides.
	Ears, EarsOwn float64
	// Seating is that of a fixture seating by a survey of 15 displacements, near the
	// mark, SeatingOwn what each cup has besides; Far is the factor on both 6 mm away.
	Seating, SeatingOwn, Far float64
	Mark                     float64                    // of the mark between the two surveys
	Reading                  capture.ReadingUncertainty // of landmarks as they are used, the fixture's found FixtureFindings times
}

// DefaultBasis are typical values of the simulated studies of
// docs/developing/proving.md and of the demo; of each cup's own between what is stated and by how much it errs.
func DefaultBasis() Basis {
	r := study.Default().Reading
	r.FixtureLandmarkMM /= math.Sqrt(FixtureFindings)
	return Basis{Ears: 1.4, EarsOwn: 0.35, Seating: 0.35, SeatingOwn: 0.45, Far: 2, Mark: 0.5, Reading: r}
}

// BasisOf takes from an earlier study what it shows of its models, the median over
// them, and the rest from DefaultBasis.
func BasisOf(earlier report.Results) Basis {
	b := DefaultBasis()
	var ears, earsOwn, seating, seatingOwn []float64
	for _, m := range earlier.Analysis.Models {
		if w := m.Worn; w != nil {
			head := w.Mean.PlaneVariance() / 2
			own := (w.EarMean[0].PlaneVariance()+w.EarMean[1].PlaneVariance())/2 - 2*head
			earsOwn = append(earsOwn, math.Sqrt(math.Max(0, own)))
			if w.Readings != nil {
				was := b
				was.Reading.FixtureLandmarkMM = w.Readings.FixtureLandmarkMM
				alone := was.alone(w.Listeners, float64(w.Readings.Worn))
				head = 1 / math.Max(1/head-1/alone, 1/9.0)
			}
			ears = append(ears, math.Sqrt(head))
		}
		for _, o := range m.Offsets {
			if o.OnFixture() && !o.Survey {
				head := o.Headset.PlaneVariance() / 2
				seating = append(seating, math.Sqrt(head))
				seatingOwn = append(seatingOwn, math.Sqrt(math.Max(0, (o.Ears[0].PlaneVariance()+o.Ears[1].PlaneVariance())/2-2*head)))
			}
		}
	}
	for _, f := range []struct {
		to *float64
		of []float64
	}{{&b.Ears, ears}, {&b.EarsOwn, earsOwn}, {&b.Seating, seating}, {&b.SeatingOwn, seatingOwn}} {
		if len(f.of) > 0 {
			*f.to = order.Median(f.of)
		}
	}
	return b
}

// alone is the variance per axis, mm², of the panel's mean by so many readings alone.
func (b Basis) alone(listeners int, readings float64) float64 {
	r := b.Reading
	return r.FixtureLandmarkMM*r.FixtureLandmarkMM + placing.ReadTurnMM*placing.ReadTurnMM +
		r.LandmarkMM*r.LandmarkMM/float64(listeners) + r.OneMM*r.OneMM/readings
}

// Forecast is what a design can be expected to reach.
type Forecast struct {
	Use  float64 // share of seatings at the panel's mean of which both cups are shown to be in
	Move float64 // share of those twice the tolerance off that are shown to be
	MM   float64 // half-width of the interval of the panel's mean position, per axis
}

// Gains of the designs, as factors on the variance that ears leave (docs/developing/offsets.md,
// "Verdict": displaced listeners; docs/developing/proving.md: without bare ears).
const (
	allDisplaced = 0.52
	noBareEar    = 1.1
)

// Forecast says what a design reaches at everyday seatings, with the tolerance
// and confidence of the study format. It adds up independent variances and draws the
// tests of the verdict; a rate is good to about ten points (common practice, no source).
func (b Basis) Forecast(d Design) Forecast {
	if d.Listeners < 2 || !d.Survey {
		return Forecast{MM: math.Inf(1)}
	}
	n := float64(d.Listeners)
	// The fixture's own ear is one draw beside those of the listeners.
	ears := square(b.Ears) * (1 + 1/n) / (1 + 1/8.0)
	gain := 1 - (1-allDisplaced)*float64(d.Displaced)/n
	if !d.BareEar {
		gain *= noBareEar
	}
	ears *= gain
	worn, df := ears, n
	if d.Readings > 0 {
		alone := b.alone(d.Listeners, n*float64(d.Seatings*d.Readings))
		worn = 1 / (1/ears + 1/alone)
		df = stats.PooledDF(worn/2, n, worn/2, reading.StatedDF)
	}
	rows := float64(d.SurveyRows())
	at := func(far float64) (common, own float64) {
		common = square(far*b.Seating) * (0.4 + 0.6*15/rows)
		if d.Drum && !d.OnePlacement {
			mark := square(b.Mark)
			if d.Readings > 0 {
				mark = 1 / (1/mark + rows*float64(d.Readings)/(2*square(b.Reading.OneMM)))
			}
			common += mark
		}
		if d.Readings > 0 {
			common = 1 / (1/common + float64(d.Readings)/square(b.Reading.OneMM))
		}
		return worn + common, square(b.EarsOwn)*gain + square(far*b.SeatingOwn)
	}
	opt := fitcorr.DefaultOptions()
	var f Forecast
	common, own := at(1)
	f.Use = verdict.ExpectedUse(common, own, df, opt)
	common, own = at(b.Far)
	f.Move = verdict.ExpectedMove(common, own, df, opt)
	f.MM = stats.Coverage(opt.Confidence, df) * math.Sqrt(worn)
	return f
}

func square(x float64) float64 { return x * x }

// Wanted is what a plan is to reach; zero fields are not asked for.
type Wanted struct {
	Use, Move float64 // shares
	MM        float64 // half-width of the interval of the panel's mean position
}

func (w Wanted) met(f Forecast) bool {
	return f.Use >= w.Use && f.Move >= w.Move && (w.MM == 0 || f.MM <= w.MM)
}

// Cheapest returns the design, of those that differ from d in listeners, seatings,
// displaced listeners, repeats of the survey and readings, that is expected to reach what is
// wanted in the least time of people and fixture together; ok is false when none does, and the
// design is then the one whose Use is highest. perRow is how long a recording sounds, minutes.
func (b Basis) Cheapest(d Design, w Wanted, perRow float64) (best Design, f Forecast, ok bool) {
	var all []Design
	for _, listeners := range []int{4, 6, 8, 10, 12, 16} {
		for _, seatings := range []int{3, 5} {
			for _, displaced := range []int{0, listeners} {
				for _, repeats := range []int{1, 2} {
					for _, readings := range []int{0, 1, 2, 4} {
						c := d
						c.Listeners, c.Seatings, c.Displaced, c.Repeats, c.Readings = listeners, seatings, displaced, repeats, readings
						all = append(all, c)
					}
				}
			}
		}
	}
	cost := func(d Design) float64 {
		t := d.Minutes(perRow)
		return t.Person*float64(d.Listeners) + t.Fixture
	}
	slices.SortStableFunc(all, func(a, b Design) int { return cmp.Compare(cost(a), cost(b)) })
	best = all[0]
	for _, c := range all {
		got := b.Forecast(c)
		if w.met(got) {
			return c, got, true
		}
		if got.Use > f.Use {
			best, f = c, got
		}
	}
	return best, f, false
}
