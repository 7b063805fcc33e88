package main

import (
	"fmt"

	"asworn/cmd/internal/simulate"
)

// A condition is one row of the grid: a design and what is special about it.
type condition struct {
	name, what string
	design     simulate.Design
	misstated  bool // the lab states the default errors of its readings, not the true ones
}

// conditions is the grid. The first is the design to which the bars apply;
// every other one changes one thing.
func conditions() []condition {
	var out []condition
	add := func(name, what string, change func(*simulate.Design)) {
		d := simulate.BarDesign()
		if change != nil {
			change(&d)
		}
		out = append(out, condition{name: name, what: what, design: d})
	}
	type design = simulate.Design
	add("bar", "8 listeners × 5 seatings, 2 closed + 1 open model, bare-ear reference, 15 displacements", nil)
	add("read", "positions read on all heads, errors as by default", func(d *design) { d.Readings = true })
	add("read-off-4", "positions read; fixture seatings for the correction: two in place, four 4 mm off", func(d *design) {
		d.Readings, d.FixtureOffsetsMM = true, []float64{0, 0, 4, 4, 4, 4}
	})
	add("read-about-people", "positions read; fixture seatings placed about the people's mean, not the panel's", func(d *design) {
		d.Readings, d.AboutPeople = true, true
	})
	for _, mm := range []float64{2, 4, 6} {
		add(fmt.Sprintf("read-yaw-%.0f", mm), "positions read; fixture seatings with the mean of both cups in place, one cup this many mm forward and the other back", func(d *design) {
			d.Readings, d.YawMM, d.FixtureOffsetsMM = true, mm, []float64{0, 0, 0, 0, 0, 0}
		})
	}
	add("read-coarse", "positions read half as well, and the lab says so", func(d *design) {
		d.Readings, d.ReadSD, d.LandmarkSD, d.FixtureLandmarkSD = true, 2, 1.4, 1
	})
	add("read-misstated", "positions read half as well, and the lab does not know", func(d *design) {
		d.Readings, d.ReadSD, d.LandmarkSD, d.FixtureLandmarkSD = true, 2, 1.4, 1
	})
	out[len(out)-1].misstated = true
	add("read-rim", "the point that is read lies on the cup's rim, 40 mm from its middle, where a turn of the headband moves it", func(d *design) {
		d.Readings, d.ReadPointMM = true, 40
	})
	add("read-one-model", "positions read; one closed model, no bare-ear reference", func(d *design) {
		d.Readings, d.Closed, d.Open, d.BareEar = true, 1, 0, false
	})
	add("read-ears-double", "positions read; ear differences twice as large", func(d *design) { d.Readings, d.EarStrength = true, 2 })
	add("read-mean-far", "positions read; people's mean 4 mm (SD per axis) from the mark", func(d *design) { d.Readings, d.MeanSD = true, 4 })
	add("read-fallen", "positions read; in 3 of the 40 worn seatings of a model the left microphone fell out of place", func(d *design) {
		d.Readings, d.FallenMicrophones = true, 3
	})
	add("fallen", "in 3 of the 40 worn seatings of a model the left microphone fell out of place", func(d *design) { d.FallenMicrophones = 3 })
	add("read-listeners-4", "positions read; 4 listeners × 3 seatings", func(d *design) {
		d.Readings, d.Listeners, d.Seatings = true, 4, 3
	})
	add("about-people", "fixture seatings placed about the people's mean, not the panel's", func(d *design) { d.AboutPeople = true })
	add("off-4", "fixture seatings for the correction: two in place, four 4 mm off", func(d *design) {
		d.FixtureOffsetsMM = []float64{0, 0, 4, 4, 4, 4}
	})
	add("survey-13", "13 displacements", func(d *design) { d.SurveySize = 13 })
	add("no-bare-ear", "no bare-ear reference: the shared panel alone", func(d *design) { d.BareEar = false })
	add("one-model", "one closed model, bare-ear reference", func(d *design) { d.Closed, d.Open = 1, 0 })
	add("one-open", "one open model, bare-ear reference", func(d *design) { d.Closed, d.Open = 0, 1 })
	add("one-model-no-bare-ear", "one closed model and nothing to tell ears from positions", func(d *design) {
		d.Closed, d.Open, d.BareEar = 1, 0, false
	})
	add("displaced-2", "no bare-ear reference, 2 listeners also at deliberate displacements", func(d *design) {
		d.BareEar, d.DisplacedListeners = false, 2
	})
	add("displaced-2-bare", "bare-ear reference, 2 listeners also at deliberate displacements", func(d *design) { d.DisplacedListeners = 2 })
	add("displaced-8-bare", "bare-ear reference, all 8 listeners also at deliberate displacements", func(d *design) { d.DisplacedListeners = 8 })
	add("closed-only", "three closed models", func(d *design) { d.Closed, d.Open = 3, 0 })
	add("open-only", "three open models", func(d *design) { d.Closed, d.Open = 0, 3 })
	add("listeners-3", "3 listeners", func(d *design) { d.Listeners = 3 })
	add("listeners-16", "16 listeners", func(d *design) { d.Listeners = 16 })
	add("seatings-2", "2 seatings each", func(d *design) { d.Seatings = 2 })
	add("seatings-10", "10 seatings each", func(d *design) { d.Seatings = 10 })
	add("noise+20", "20 dB more noise", func(d *design) { d.NoiseDB = 20 })
	add("noise+35", "35 dB more noise", func(d *design) { d.NoiseDB = 35 })
	add("leaks-none", "no leaks, no deliberate leak", func(d *design) { d.LeakChance, d.SurveyLeaks = 0, 0 })
	add("leaks-many", "six worn ears in ten leak, and the last fixture seating", func(d *design) { d.LeakChance, d.FixtureLeak = 0.6, true })
	add("survey-none", "no survey", func(d *design) { d.SurveySize = 0 })
	add("survey-7", "7 displacements", func(d *design) { d.SurveySize = 7 })
	add("survey-25", "25 displacements", func(d *design) { d.SurveySize = 25 })
	add("ruler-0", "no error of the ruler", func(d *design) { d.RulerSD = 0 })
	add("ruler-1", "error of the ruler 1 mm", func(d *design) { d.RulerSD = 1 })
	add("ears-0", "all ears alike, the fixture's too", func(d *design) { d.EarStrength = 0 })
	add("ears-half", "ear differences half as large", func(d *design) { d.EarStrength = 0.5 })
	add("ears-double", "ear differences twice as large", func(d *design) { d.EarStrength = 2 })
	add("nonlinear", "position response more nonlinear (driver nearer, harder cup)", func(d *design) { d.Nonlinearity = 2 })
	add("scatter-double", "unmodelled scatter (cushion, lean, microphone) twice as large", func(d *design) { d.Scatter = 2 })
	add("mean-at-mark", "people wear it where the fixture is marked", func(d *design) { d.MeanSD = 0 })
	add("mean-far", "people's mean 4 mm (SD per axis) from the mark", func(d *design) { d.MeanSD = 4 })
	return out
}
