package main

import (
	"fmt"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/plan"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/beam"
	"asworn/cmd/internal/simulate/lattice"
	"asworn/cmd/internal/simulate/modal"
	"asworn/cmd/internal/simulate/piston"
	"asworn/fitcorr"
	"asworn/fitcorr/earlier"
	"asworn/fitcorr/reading"
)

// A condition is one row of the grid: a design, what is special about it, and
// the bars it is held to.
type condition struct {
	name, what string
	design     simulate.Design
	stated     float64 // what the lab states of its readings' errors, in true ones
	method     bool    // named by the method: part of the grid that has to be met
	bars       bars
	curves     bool      // corrections and final curves are scored as well
	series     bool      // the study is the last of a series, with entrances found anew in each
	earlier    int       // studies before it
	surfaces   *surfaces // what a new model may take from displaced listeners of others; nil where nothing is left out
	seed       uint64    // of the first study
}

// bars are upper limits in mm per axis and lower limits of rates in %; 0 is none.
type bars struct {
	fixtureMM, wornMM, meanMM float64
	use, move                 float64 // verdicts at 0 mm and at 6 mm
	misspecified              bool    // coverage is held to 92 % from below alone
}

// ordinary is the design that the bars are for, by the protocol that a lab can
// carry out: eight listeners, fixture seatings at the drum and others at the
// blocked entrance, at both points the first thirteen displacements of the survey that a
// plan proposes.
func ordinary() simulate.Design {
	d := simulate.BarDesign()
	d.Seatings, d.SurveySize, d.SurveyLeaks, d.Displacements = 3, 13, 1, plan.Displacements()
	d.Apart, d.BlockedSeatings, d.MarkSD = true, 4, 0.3
	d.FixtureOffsetsMM = []float64{0, 6, 0.8, 6, 0, 7}
	return d
}

// asPlanned is a design with what a plan of asworn new has when nothing else is said.
func asPlanned(d simulate.Design) simulate.Design {
	d.Seatings = plan.Default().Seatings
	if len(d.Displacements) > 0 { // those of a condition's own survey are as many as it says
		d.SurveySize = len(d.Displacements)
	}
	return d
}

// yaw displaces the cups of six fixture seatings in opposite directions, by turns.
func yaw(mm float64) []float64 { return []float64{mm, -mm, mm, -mm, mm, -mm} }

// conditions is the grid.
func conditions() []condition {
	type design = simulate.Design
	var out []condition
	add := func(name, what string, b bars, change func(*design)) *condition {
		d := ordinary()
		change(&d)
		out = append(out, condition{name: name, what: what, design: d, stated: 1, method: b != bars{}, bars: b})
		return &out[len(out)-1]
	}
	odd := func(b bars) bars { b.misspecified = true; return b }

	sound := bars{fixtureMM: 0.5, wornMM: 2}
	displaced := bars{fixtureMM: 0.5, wornMM: 2, meanMM: 1, use: 60, move: 90}
	add("bar", "8 listeners × 3 seatings, 2 closed and 1 open model, bare-ear reference; no readings", sound, func(*design) {})
	add("displaced", "all listeners also displaced by ±4 mm", displaced, func(d *design) { d.DisplacedListeners = d.Listeners })
	add("fixture-ear-2", "the fixture's ear twice as unlike people's", odd(sound), func(d *design) { d.FixtureEar = 2 })
	add("even", "cups nearly even in the displacement", odd(bars{}), func(d *design) { d.EvenCups = true })
	add("leaks", "leaks belong to listeners, four in ten", odd(sound), func(d *design) { d.LeakListeners, d.LeakChance = true, 0.4 })
	add("listeners-5", "5 listeners", bars{fixtureMM: 0.5, wornMM: 2}, func(d *design) { d.Listeners = 5 })
	add("one-model", "one closed model", bars{fixtureMM: 0.5}, func(d *design) { d.Closed, d.Open = 1, 0 })
	add("yaw-4", "cups ±4 mm apart in opposite directions, headset in place", odd(bars{fixtureMM: 0.5, wornMM: 2}), func(d *design) {
		d.FixtureYawMM, d.FixtureOffsetsMM = yaw(4), make([]float64, 6)
	})

	reading := bars{fixtureMM: 0.5, wornMM: 1.2, meanMM: 0.5, use: 80, move: 90}
	read := func(name, what string, b bars, change func(*design)) *condition {
		return add("read"+name, what, b, func(d *design) {
			d.Readings, d.Closed, d.Open = true, 1, 1
			d.FixtureFindings = plan.FixtureFindings
			change(d)
		})
	}
	still := reading // where the headset is in place but not the cups there are no rates
	still.use, still.move = 0, 0
	read("", "positions read once on all heads; 1 closed and 1 open model", reading, func(*design) {})
	four := reading
	four.use = 90
	read("-4", "positions read four times, left and right by each of two readers", four, func(d *design) { d.ReadingsEach, d.Readers, d.AllReadAll = 4, 2, true })
	read("-fixture-ear-2", "the fixture's ear twice as unlike people's", odd(reading), func(d *design) { d.FixtureEar = 2 })
	read("-even", "cups nearly even in the displacement", odd(reading), func(d *design) { d.EvenCups = true })
	for _, mm := range []float64{2, 4, 6} {
		read(fmt.Sprintf("-yaw-%g", mm), fmt.Sprintf("cups ±%g mm apart in opposite directions, headset in place", mm), odd(still), func(d *design) {
			d.FixtureYawMM, d.FixtureOffsetsMM = yaw(mm), make([]float64, 6)
		})
	}
	read("-leaks", "leaks belong to listeners, four in ten", odd(reading), func(d *design) { d.LeakListeners, d.LeakChance = true, 0.4 })
	read("-readers", "read by one of two people, each with a bias of 1 mm; the first reads the fixture", odd(reading), func(d *design) {
		d.ReadingsEach, d.Readers, d.ReaderSD = 2, 2, 1
	})
	read("-tails", "errors of readings with heavy tails", odd(reading), func(d *design) { d.ReadTails = true })
	read("-slips", "left and right read by two people, one reading in twenty written down wrongly", odd(reading), func(d *design) {
		d.ReadingsEach, d.Readers, d.AllReadAll, d.SlipChance = 4, 2, true, 0.05
	})
	read("-half", "stated errors half the true ones", odd(reading), func(*design) {}).stated = 0.5
	read("-listeners-5", "5 listeners", reading, func(d *design) { d.Listeners = 5 })
	read("-one-model", "one closed model, no bare-ear reference", reading, func(d *design) { d.Closed, d.Open, d.BareEar = 1, 0, false })

	// Beyond the method's list: for the questions that come up.
	none := bars{}
	read("-off-4", "fixture seatings for the correction: two in place, four 4 mm off", none, func(d *design) {
		d.FixtureOffsetsMM = []float64{0, 4, 4, 4, 4, 0}
	}).curves = true
	read("-worn-yaw", "people wear the left cup 1 mm forward and the right one 1 mm back, against the fixture's mark", none, func(d *design) { d.WornYawMM = 1 })
	read("-together", "a fixture that allows both points in one placement", none, func(d *design) { d.Apart = false })
	read("-about-people", "fixture seatings placed about the people's mean, not the panel's", none, func(d *design) { d.AboutPeople = true })
	read("-rim", "the point that is read 40 mm from the cup's middle, where a turn of the headband moves it", none, func(d *design) { d.ReadPointMM = 40 })
	read("-survey-axes", "thirteen displacements forward, up or in rotation, no two at once", none, func(d *design) { d.Displacements = nil })
	read("-mean-far", "people's mean 4 mm (SD per axis) from the mark", none, func(d *design) { d.MeanSD = 4 })
	read("-fallen", "in 3 worn seatings of a model the left microphone fell out of place", none, func(d *design) { d.FallenMicrophones = 3 })
	add("bare-ear-5", "bare-ear references from five places of the loudspeaker, the head turned by up to 60°", none, func(d *design) {
		d.BareTurnsDeg = []float64{-60, -30, 30, 60}
	})
	add("off-4", "fixture seatings for the correction: two in place, four 4 mm off", none, func(d *design) {
		d.FixtureOffsetsMM = []float64{0, 4, 4, 4, 4, 0}
	}).curves = true
	add("no-bare-ear", "no bare-ear reference: the shared panel alone", none, func(d *design) { d.BareEar = false })
	add("one-model-no-bare-ear", "one closed model and nothing to tell ears from positions", none, func(d *design) {
		d.Closed, d.Open, d.BareEar = 1, 0, false
	})
	add("displaced-2", "2 listeners also displaced by ±4 mm", none, func(d *design) { d.DisplacedListeners = 2 })
	add("listeners-16", "16 listeners", none, func(d *design) { d.Listeners = 16 })
	add("seatings-6", "6 seatings each", none, func(d *design) { d.Seatings = 6 })
	add("noise+20", "20 dB more noise", none, func(d *design) { d.NoiseDB = 20 })
	add("leaks-none", "no leaks, no deliberate leak", none, func(d *design) { d.LeakChance, d.SurveyLeaks = 0, 0 })
	add("leaks-many", "six worn ears in ten leak, and the last fixture seating", none, func(d *design) { d.LeakChance, d.FixtureLeak = 0.6, true })
	add("survey-none", "no survey", none, func(d *design) { d.SurveySize = 0 })
	add("survey-least", "the least displacements that a plan may have", none, func(d *design) { d.SurveySize = plan.LeastSurvey })
	add("survey-whole", "all displacements that a plan proposes", none, func(d *design) { d.SurveySize = len(d.Displacements) })
	add("mark-1", "the mark between the two surveys found again to 1 mm", none, func(d *design) { d.MarkSD = 1 })
	add("ruler-1", "error of the ruler 1 mm", none, func(d *design) { d.RulerSD = 1 })
	add("ears-0", "all ears alike, the fixture's too", none, func(d *design) { d.EarStrength = 0 })
	add("ears-double", "ear differences twice as large", none, func(d *design) { d.EarStrength = 2 })
	add("nonlinear", "position response more nonlinear (driver nearer, harder cup)", none, func(d *design) { d.Nonlinearity = 2 })
	add("scatter-double", "unmodelled scatter (cushion, lean, microphone) twice as large", none, func(d *design) { d.Scatter = 2 })
	add("mean-far", "people's mean 4 mm (SD per axis) from the mark", none, func(d *design) { d.MeanSD = 4 })

	// A new model on a panel that was met before.
	for _, n := range []int{0, 4, 19} {
		c := add(fmt.Sprintf("earlier-%d", n), fmt.Sprintf("one closed model, no bare-ear reference; %d studies of the panel before", n), bars{}, func(d *design) {
			d.Closed, d.Open, d.BareEar = 1, 0, false
		})
		c.series, c.earlier = true, n
		c = read(fmt.Sprintf("-earlier-%d", n), fmt.Sprintf("one closed model, bare-ear reference, positions read once; %d studies of the panel before", n), bars{}, func(d *design) {
			d.Closed, d.Open, d.LandmarkSD, d.FixtureLandmarkSD, d.FixtureFindings = 1, 0, 0, 0, 1 // the series draws them
		})
		c.series, c.earlier = true, n
	}
	for _, of := range surfaceConditions() {
		c := add(of.name(), of.what(), bars{}, func(d *design) {
			d.Closed, d.Open, d.DisplacedListeners = 1+mostEarlier, 0, d.Listeners
		})
		c.surfaces = &of
	}

	// How often the fixture's entrance is found.
	once := func(d *design) { d.FixtureFindings = 1 }
	read("-found-once", "the fixture's entrance found once and not written down", none, once)
	read("-4-found-once", "positions read four times, the fixture's entrance found once", none, func(d *design) {
		d.ReadingsEach, d.Readers, d.AllReadAll = 4, 2, true
		once(d)
	})
	read("-found-alike", "half of the variance of what findings of the fixture's entrance err by is common to all", odd(reading), func(d *design) { d.FindingsAlike = 0.5 }).method = false
	return out
}

// A generator is a physics and the laws of what people and operators do.
type generator struct {
	world simulate.World
	laws  simulate.Laws
}

var generators = map[string]generator{
	"a": {world: piston.World}, "b": {world: modal.World}, "c": {world: lattice.World},
	"d": {beam.World, simulate.UnlikeLaws},
}

// conditionSeeds keeps the studies of conditions apart, so that one that is
// unlucky does not stand in every row, and generatorSeeds those of the generators of one
// run: readers, landmarks and leaks are drawn before any sound, and would be the same in all.
const (
	conditionSeeds = 100
	generatorSeeds = 1_000_000_000
)

// seriesSeed is where those of series begin.
const seriesSeed = 50_000

// options are those that the lab of a condition states.
func (c condition) options(seed uint64) fitcorr.Options {
	d, opt := c.design, fitcorr.DefaultOptions()
	opt.Jobs, opt.Seed = 1, seed
	opt.MarkMM = d.MarkSD
	opt.Reading = capture.ReadingUncertainty{OneMM: c.stated * d.ReadSD, LandmarkMM: c.stated * d.LandmarkSD, FixtureLandmarkMM: c.stated * d.FixtureLandmarkSD}
	return opt
}

// combine gives the seatings their readings, as a run does with readings.csv.
func combine(ss []fitcorr.Seating, rows []study.ReadingRow, opt fitcorr.Options) ([]fitcorr.Seating, capture.ReadingUncertainty) {
	r := reading.Combine(rows, opt.Reading)
	for i := range ss {
		s := &ss[i]
		if e, ok := r.At[reading.Placement{Head: s.Subject, Model: s.Model, Number: s.Number}]; ok {
			e.Give(s)
		}
	}
	t := earlier.Take(ss, rows, r, opt.Reading, nil, opt.Confidence)
	return t.Seatings, t.Reading
}
