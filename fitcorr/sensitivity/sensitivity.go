package sensitivity

import (
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/varcomp"
)

// Of returns the fit sensitivity of one model from its seatings:
// for each microphone point that holds at least two of them (blocked first),
// left then right ear. Deliberate displacements and bare-ear rows in ss are
// left out. Worn and fixture seatings are analysed as separate groups; worn
// ones by REML with the listener as the random factor (package varcomp).
// docs/sensitivity.md gives every definition. Intervals hold opt.Confidence.
// leaks are the seals as JudgeSeal found them, by the id of a blocked seating;
// nil when not judged. They tell which fixture seatings the figure of
// repeatability names or leaves out.
func Of(ss []seat.Seating, leaks map[string][2]seal.Leak, opt seat.Options) []Sensitivity {
	var out []Sensitivity
	for _, point := range []capture.Point{capture.Blocked, capture.Drum} {
		var normal []seat.Seating
		for _, s := range ss {
			if s.Point == point && !s.Displaced() && s.Model != "" {
				normal = append(normal, s)
			}
		}
		if len(normal) < 2 {
			continue
		}
		for _, ear := range capture.Ears {
			out = append(out, sensitivity(normal, leakingSeatings(ss, leaks, ear), point, ear, opt.Confidence))
		}
	}
	return out
}

// fitPanel is the worn or the fixture seatings in the form the estimators use.
type fitPanel struct {
	id      []string    // per seating, unique
	subject []string    // per seating
	level   [][]float64 // per seating, then per third-octave band; NaN where it does not count
}

// in returns labels and levels of the seatings that count in band b.
func (p fitPanel) in(b int) (subject []string, y []float64) {
	for i, s := range p.subject {
		if v := p.level[i][b]; !math.IsNaN(v) {
			subject = append(subject, s)
			y = append(y, v)
		}
	}
	return subject, y
}

// sensitivity is that of one point and ear; leaking holds the numbers of the
// fixture seatings whose seal stands out.
func sensitivity(ss []seat.Seating, leaking map[int]bool, point capture.Point, ear capture.Ear, confidence float64) Sensitivity {
	levels := thirdLevels(ss, ear)
	var worn, fixture fitPanel
	var leaks []string
	for i, s := range ss {
		p := &worn
		if s.OnFixture() {
			p = &fixture
			if leaking[s.Number] {
				leaks = append(leaks, s.ID)
			}
		}
		p.id = append(p.id, s.ID)
		p.subject = append(p.subject, s.Subject)
		p.level = append(p.level, levels[i])
	}
	r := Sensitivity{Ear: ear, Point: point, Worn: len(worn.subject), OnFixture: len(fixture.subject),
		Listeners: len(uniqueNames(worn.subject))}

	means := wornComponents(&r, worn, confidence)
	fixtureMeans := fixtureComponents(&r, fixture, confidence)
	fitBias(&r, means, fixtureMeans)
	if r.RepeatabilityDB == nil && r.Fixture != nil {
		r.RepeatabilityDB = sds(r.Fixture)
	}
	summarise(&r, worn, fixture, leaks, confidence)
	return r
}

// bandMean is the mean level of a group of seatings in one band.
type bandMean struct {
	mean, variance float64 // of the mean
	df             float64 // of the variance
	ok             bool
}

// wornComponents fills what the panel says per band and returns its means.
func wornComponents(r *Sensitivity, p fitPanel, confidence float64) []bandMean {
	means := make([]bandMean, band.Thirds)
	between, within := make([]Component, band.Thirds), make([]Component, band.Thirds)
	repeat, reproduce := make([]float64, band.Thirds), make([]float64, band.Thirds)
	valid := make([]bool, band.Thirds)
	var haveBetween, haveWithin, haveTotal bool
	for b := range band.Thirds {
		subject, y := p.in(b)
		listeners := len(uniqueNames(subject))
		if design, err := varcomp.Nested(subject); err == nil {
			fit, err := design.Fit(y)
			if err != nil {
				continue
			}
			between[b], within[b] = remlComponent(fit, 0, confidence), remlComponent(fit, 1, confidence)
			repeat[b], reproduce[b] = within[b].SD, math.Sqrt(fit.TotalVar())
			means[b] = bandMean{fit.Mean, fit.MeanSE * fit.MeanSE, fit.MeanDF, true}
			valid[b], haveBetween, haveWithin, haveTotal = true, true, true, true
			continue
		}
		// The panel cannot tell the components apart: one listener shows the
		// scatter of seatings only, one seating each the total only.
		if len(y) < 2 {
			continue
		}
		mean, sd := stats.MeanSD(y)
		valid[b] = true
		if listeners == 1 {
			within[b] = sdComponent(sd, len(y), confidence)
			repeat[b], haveWithin = sd, true
			continue
		}
		reproduce[b], haveTotal = sd, true
		means[b] = bandMean{mean, sd * sd / float64(len(y)), float64(len(y) - 1), true}
	}
	if haveBetween {
		r.Between = between
	}
	if haveWithin {
		r.Within, r.RepeatabilityDB = within, repeat
	}
	if haveTotal {
		r.ReproducibilityDB = reproduce
	}
	if haveWithin || haveTotal {
		r.PanelValid = valid
	}
	return means
}

// fixtureComponents fills the scatter of the fixture's seatings and returns
// their means.
func fixtureComponents(r *Sensitivity, p fitPanel, confidence float64) []bandMean {
	means := make([]bandMean, band.Thirds)
	fixture, valid := make([]Component, band.Thirds), make([]bool, band.Thirds)
	have := false
	for b := range band.Thirds {
		_, y := p.in(b)
		switch {
		case len(y) >= 2:
			mean, sd := stats.MeanSD(y)
			fixture[b] = sdComponent(sd, len(y), confidence)
			means[b] = bandMean{mean, sd * sd / float64(len(y)), float64(len(y) - 1), true}
			valid[b], have = true, true
		case len(y) == 1 && r.RepeatabilityDB != nil && r.PanelValid[b]:
			// A lone seating scatters as the listeners' seatings do, for want
			// of better.
			means[b] = bandMean{y[0], r.RepeatabilityDB[b] * r.RepeatabilityDB[b], float64(max(1, r.Worn-r.Listeners)), true}
		}
	}
	if have {
		r.Fixture, r.FixtureValid = fixture, valid
	}
	return means
}

// fitBias fills fixture − worn. The listener is the unit: many seatings of few
// listeners do not make the worn mean surer than the listeners allow. Degrees
// of freedom are those of Welch and Satterthwaite.
func fitBias(r *Sensitivity, worn, fixture []bandMean) {
	db, se, df := make([]float64, band.Thirds), make([]float64, band.Thirds), make([]float64, band.Thirds)
	have := false
	for b := range band.Thirds {
		w, f := worn[b], fixture[b]
		if !w.ok || !f.ok {
			continue
		}
		v := w.variance + f.variance
		if !(v > 0) {
			continue // identical values: nothing was measured
		}
		db[b] = f.mean - w.mean
		se[b] = math.Sqrt(v)
		df[b] = stats.SumDF([]float64{w.variance, f.variance}, []float64{w.df, f.df})
		have = true
	}
	if have {
		r.BiasDB, r.BiasSE, r.BiasDF = db, se, df
	}
}

func remlComponent(f varcomp.Fit, l int, confidence float64) Component {
	lo, hi := f.Interval(l, confidence)
	return Component{SD: f.SD(l), Lower: lo, Upper: hi}
}

// sdComponent is the standard deviation of n seatings with its exact χ² interval.
func sdComponent(sd float64, n int, confidence float64) Component {
	lo, hi := varcomp.ChiSquaredInterval(sd, float64(n-1), confidence)
	return Component{SD: sd, Lower: lo, Upper: hi}
}

func sds(c []Component) []float64 {
	out := make([]float64, len(c))
	for i := range c {
		out[i] = c[i].SD
	}
	return out
}

// Component is a variance component with its interval, as standard deviations in dB.
type Component struct {
	SD    float64 `json:"sd"`
	Lower float64 `json:"lower"`
	Upper float64 `json:"upper"`
}

// Sensitivity is the fit sensitivity of one model, ear and microphone point;
// slices are per third-octave band (length band.Thirds). A slice is nil when
// the study cannot support it; a band that does not count holds zeros and is
// false in PanelValid or FixtureValid.
type Sensitivity struct {
	Ear               capture.Ear   `json:"ear"`
	Point             capture.Point `json:"point"`
	Listeners         int           `json:"listeners"`
	Worn              int           `json:"worn_seatings"`
	OnFixture         int           `json:"fixture_seatings"`
	Between           []Component   `json:"between"`            // between listeners
	Within            []Component   `json:"within"`             // between seatings of a listener
	Fixture           []Component   `json:"fixture"`            // between seatings on the fixture
	RepeatabilityDB   []float64     `json:"repeatability_db"`   // ISO 5725-2 s_r; of the fixture's seatings without a panel
	ReproducibilityDB []float64     `json:"reproducibility_db"` // ISO 5725-2 s_R, listeners as laboratories
	BiasDB            []float64     `json:"bias_db"`            // fixture − worn
	BiasSE            []float64     `json:"bias_stderr_db"`
	BiasDF            []float64     `json:"bias_df"` // degrees of freedom of the bias's t interval
	PanelValid        []bool        `json:"panel_valid,omitempty"`
	FixtureValid      []bool        `json:"fixture_valid,omitempty"`
	// SummaryDB is the one figure (docs/sensitivity.md): the RMS of s_R from
	// 50 Hz to 10 kHz with its interval; all 0 without a panel, interval 0
	// with fewer than three listeners.
	SummaryDB [3]float64 `json:"summary_db"` // estimate, lower, upper
	// SeatingDB is the same of s_r: of the panel's seatings, or of the
	// fixture's when there is no panel, then without those of LeftOut.
	SeatingDB [3]float64 `json:"seating_db"` // estimate, lower, upper
	// LeftOut names the fixture seatings that SeatingDB leaves out because
	// their seal leaked far more than that of the others, and WithLeaksDB is
	// the figure with them. LeaksIn names such seatings that are in SeatingDB
	// all the same, as too few would remain without them.
	LeftOut     []string   `json:"left_out,omitempty"`
	WithLeaksDB [3]float64 `json:"with_leaks_db,omitzero"` // estimate, lower, upper
	LeaksIn     []string   `json:"leaks_in,omitempty"`
	// Influence is what each listener does to the logarithm of SummaryDB, and
	// SeatingInfluence what each listener (each seating, without a panel) does
	// to that of SeatingDB; a ranking of several models needs them.
	Influence        []Influence `json:"influence,omitempty"`
	SeatingInfluence []Influence `json:"seating_influence,omitempty"`
}

// Influence is the jackknife shift of the logarithm of a summary figure by one
// listener or seating: the estimate of everyone minus that without.
type Influence struct {
	Listener string  `json:"listener"` // or the id of the seating
	Shift    float64 `json:"shift"`    // of the natural logarithm, a pure number
}
