// Package fitcorr matches worn and fixture seatings: it models how the
// response moves when the headphone moves, estimates by how much each seating
// is off, judges fixture seatings against the worn ones, corrects what cannot
// be redone and says how sensitive a model is to its fit.
package fitcorr

import (
	"asworn/capture"
	"asworn/fitcorr/leak"
)

// Axis numbers a coordinate of an offset: forward (mm), up (mm), rotation (degrees).
type Axis int

// The three axes in the order of every [3]T; positive is toward the nose,
// toward the crown, headband's top toward the nose.
const (
	Forward Axis = iota
	Up
	Rotation
)

// Axes lists the axes in array order.
var Axes = [3]Axis{Forward, Up, Rotation}

// Curve is the level of one ear per kept band (length band.Count).
type Curve struct {
	LevelDB  []float64 `json:"level_db"`
	StdErrDB []float64 `json:"stderr_db"`
	Valid    []bool    `json:"valid"` // bands that count
}

// Seating is one usable recording as the estimators see it.
type Seating struct {
	ID      string                `json:"id"` // unique and stable
	Model   string                `json:"model,omitempty"`
	Unit    string                `json:"unit,omitempty"`
	Subject string                `json:"subject"`
	Point   capture.Point         `json:"point"`
	Number  int                   `json:"seating"`
	Survey  *capture.Displacement `json:"survey,omitempty"`
	Read    *capture.Reading      `json:"read,omitempty"`
	Seal    string                `json:"seal,omitempty"`
	Ears    [2]Curve              `json:"-"`
}

// OnFixture reports whether the seating was on the fixture, not on a listener.
func (s Seating) OnFixture() bool { return s.Subject == capture.FixtureSubject }

// Displaced reports whether the headphone was displaced on purpose: on the
// fixture the row of a position survey, on a listener a displaced wearing.
func (s Seating) Displaced() bool { return s.Survey != nil }

// Worn reports whether a listener wore the headphone as usual.
func (s Seating) Worn() bool { return !s.OnFixture() && !s.Displaced() }

// OrdinaryOnFixture reports whether a headphone sat on the fixture and was not
// displaced on purpose.
func (s Seating) OrdinaryOnFixture() bool {
	return s.OnFixture() && !s.Displaced() && s.Model != ""
}

// Options are the choices of a study; the zero value is not useful, start
// from DefaultOptions.
type Options struct {
	ToleranceMM float64 // an offset below this is as good as none
	Confidence  float64 // of intervals and tests, for instance 0.95
	Bootstrap   int     // seeded draws of the bootstraps (worn mean, ranking of models); 0 means their defaults
	Seed        uint64
	Jobs        int // workers; 0 means all cores
	// CalibrationDB is the standard uncertainty of the level calibration (from
	// the calibrator's and microphone's certificates); 0 = not stated.
	CalibrationDB float64
	// Reading says how well positions are read off heads (Seating.Read); zero
	// fields stand for the defaults of the study format.
	Reading capture.ReadingUncertainty
}

// DefaultOptions returns the defaults of the study format.
func DefaultOptions() Options {
	return Options{ToleranceMM: 3, Confidence: 0.95, Seed: 1}
}

// Estimate is a position with its uncertainty; units per axis: mm, mm, degrees.
type Estimate struct {
	Value [3]float64    `json:"value"`
	Cov   [3][3]float64 `json:"cov"`
	// Confounded is the share (0 to 1) of the variance on each axis that comes
	// from not knowing ear shape from position.
	Confounded [3]float64 `json:"confounded"`
	// Seen reports whether the data say more than the prior about an axis.
	Seen [3]bool `json:"seen"`
	DF   float64 `json:"df"` // degrees of freedom of the t intervals; 0 = normal
}

// Leak is the seal of one ear of one seating relative to the best-sealed
// reference of its model.
type Leak struct {
	Class    string  `json:"class"` // "sealed", "leaking" or "open" (open by design: no seal to judge)
	CornerHz float64 `json:"corner_hz,omitempty"`
	CornerSE float64 `json:"corner_stderr_hz,omitempty"`
	Damping  float64 `json:"damping,omitempty"` // quality factor's inverse, 1/Q
	// ThreeDBHz is the frequency below which more than 3 dB are lost.
	ThreeDBHz float64 `json:"three_db_hz,omitempty"`
	// LossDB is the level loss at 20, 50 and 100 Hz in dB (positive = lost) with standard errors.
	LossDB [3]float64 `json:"loss_db"`
	LossSE [3]float64 `json:"loss_stderr_db"`
	GainDB float64    `json:"gain_db"` // level offset told apart from the leak
	// Source is what drives the cup, zero for the plain circuit; with CornerHz
	// and Damping it gives the loss at any frequency.
	Source leak.Source `json:"source,omitzero"`
}

// Offset is where one seating sits relative to the fixture's marked position.
type Offset struct {
	ID      string      `json:"id"`
	Subject string      `json:"subject"`
	Seating int         `json:"seating"`
	Survey  bool        `json:"survey"` // a deliberate displacement: listed as a check only
	Ears    [2]Estimate `json:"ears"`
	Headset Estimate    `json:"headset"` // both ears together
	Leak    [2]Leak     `json:"leak"`
	GainDB  [2]float64  `json:"gain_db"`
	// MisfitP is the tail probability of the residual under the model: small
	// means that this seating is not explained by a movement.
	MisfitP [2]float64 `json:"misfit_p"`
}

// OnFixture reports whether the seating was on the fixture, not on a listener.
func (o Offset) OnFixture() bool { return o.Subject == capture.FixtureSubject }

// Worn reports whether a listener wore the headphone as usual.
func (o Offset) Worn() bool { return !o.OnFixture() && !o.Survey }

// Worn is the distribution of the worn offsets of one model.
type Worn struct {
	Listeners int         `json:"listeners"`
	Seatings  int         `json:"seatings"`
	Mean      Estimate    `json:"mean"`     // both ears together
	EarMean   [2]Estimate `json:"ear_mean"` // per ear
	// People is the mean of the people that the panel was drawn from; Mean is
	// that of the panel's own seatings, which a fixture seating is held against.
	People Estimate `json:"people"`
	// Standard deviations between listeners and within a listener, with standard errors.
	BetweenSD [3]float64 `json:"between_sd"`
	BetweenSE [3]float64 `json:"between_se"`
	WithinSD  [3]float64 `json:"within_sd"`
	WithinSE  [3]float64 `json:"within_se"`
	// SamplingSD is the part of the mean's standard error that comes from who
	// happened to be on the panel, as the model states it; BootstrapSD is the
	// same by drawing the listeners again and again (docs/offsets.md).
	SamplingSD  [3]float64 `json:"sampling_sd"`
	BootstrapSD [3]float64 `json:"bootstrap_sd"`
	// Separation names what told ear shape from position: "read positions",
	// "bare-ear reference", "shared panel", "displaced listeners", "prior".
	Separation []string `json:"separation"`
	// Readings says how far positions were read off heads; nil when they were not.
	Readings *Readings `json:"readings,omitempty"`
	// LeakLossDB is the mean worn level loss at 20, 50, 100 Hz per ear, with the SD over seatings.
	LeakLossDB [2][3]float64 `json:"leak_loss_db"`
	LeakLossSD [2][3]float64 `json:"leak_loss_sd_db"`
}

// Readings is what the positions read off heads (Seating.Read) came to for one
// model: how many could be used, and the standard deviations in mm that they
// show, of one reading and of a landmark on a listener (both pooled over models).
type Readings struct {
	Worn       int     `json:"worn"`
	OnFixture  int     `json:"on_fixture"`
	OneMM      float64 `json:"one_mm"`
	LandmarkMM float64 `json:"landmark_mm"`
}

// Outcome is the three-way verdict.
type Outcome string

// The three outcomes (equivalence by two one-sided tests).
const (
	Matches      Outcome = "matches"
	Adjust       Outcome = "adjust"
	Undetermined Outcome = "undetermined"
)

// EarVerdict is the verdict on one ear or on the headset.
type EarVerdict struct {
	Outcome Outcome `json:"outcome"`
	// Off is the seating minus the worn mean; the move to make is its negative.
	Off Estimate `json:"off"`
	// Distance is the offset's length in mm in the forward-up plane, with its interval.
	DistanceMM [3]float64 `json:"distance_mm"` // estimate, lower, upper
	// LeakOutcome and LeakExcessDB compare the loss at 50 Hz with the worn one.
	LeakOutcome  Outcome    `json:"leak_outcome"`
	LeakExcessDB [3]float64 `json:"leak_excess_db"` // estimate, lower, upper
}

// Verdict is the judgement of one fixture seating against the worn ones.
type Verdict struct {
	ID      string        `json:"id"`
	Seating int           `json:"seating"`
	Outcome Outcome       `json:"outcome"` // of position, both ears considered
	Ears    [2]EarVerdict `json:"ears"`
	Headset EarVerdict    `json:"headset"`
	Settle  []string      `json:"settle,omitempty"` // what would settle an undetermined one
	// Nearest lists worn seatings by likelihood, most alike first.
	Nearest []Likeness `json:"nearest,omitempty"`
}

// Likeness is a worn seating and its share of the likelihood.
type Likeness struct {
	ID    string  `json:"id"`
	Share float64 `json:"share"`
}

// SurveyReport says how well the survey of one model and ear works.
type SurveyReport struct {
	Displacements int        `json:"displacements"`
	Method        string     `json:"method"`       // of the chosen response model, in words
	HeldOutDB     float64    `json:"held_out_db"`  // RMS prediction error leaving one displacement out
	HeldOutMM     [3]float64 `json:"held_out_mm"`  // the same turned around: error of the recovered position
	PosteriorSD   [3]float64 `json:"posterior_sd"` // of one seating's offset per axis
	Visible       [3]bool    `json:"visible"`      // axes that the survey can see
	Condition     float64    `json:"condition"`    // condition number of the position information
	PerUnitDB     [3]float64 `json:"db_per_unit"`  // RMS level change per mm (or degree), 200 Hz to 16 kHz
	Warnings      []string   `json:"warnings,omitempty"`
	// SlopeDB is the level change per mm (or degree) at the marked position
	// per kept band and axis, with standard errors.
	SlopeDB [3][]float64 `json:"slope_db,omitempty"`
	SlopeSE [3][]float64 `json:"slope_stderr_db,omitempty"`
}

// StandOut tests one ear of one seating against its own group.
type StandOut struct {
	ID       string  `json:"id"`
	Group    string  `json:"group"` // model, subject and point, in words
	Ear      string  `json:"ear"`
	Band     string  `json:"band"` // "low" (seal) or "high" (position)
	Distance float64 `json:"distance"`
	P        float64 `json:"p"`    // tail probability, corrected for members and bands
	Size     float64 `json:"size"` // the false-alarm probability that the test keeps, per ear of a group
	Flagged  bool    `json:"flagged"`
	WorstHz  float64 `json:"worst_hz"` // where it differs most
	WorstDB  float64 `json:"worst_db"`
}

// Correction moves one curve of one fixture seating to the worn mean.
type Correction struct {
	ID      string        `json:"id"`
	Point   capture.Point `json:"point"`
	Ear     string        `json:"ear"`
	DeltaDB []float64     `json:"delta_db"` // to add, per kept band; 0 where not applied
	// PredictedDB is the predicted change to the worn mean, applied or not; nil
	// where nothing can be predicted.
	PredictedDB []float64 `json:"predicted_db,omitempty"`
	StdErrDB    []float64 `json:"stderr_db"`
	Applied     []bool    `json:"applied"`            // per kept band
	Withheld    string    `json:"withheld,omitempty"` // why nothing, or why not everywhere
	// BeforeDB and AfterDB are the RMS distances to held-out curves, 1 kHz to 10 kHz.
	BeforeDB float64 `json:"before_db"`
	AfterDB  float64 `json:"after_db"`
}

// FinalCurve is the curve of one model at one point and ear from the fixture's
// seatings: slices per kept band. LevelDB is nil when no seating could be used.
type FinalCurve struct {
	Point   capture.Point `json:"point"`
	Ear     string        `json:"ear"`
	Members []CurveMember `json:"members"` // every ordinary fixture seating, used or not
	Used    int           `json:"used"`
	LevelDB []float64     `json:"level_db,omitempty"` // mean of the used ones, corrected where Corrected says so
	// SpreadDB is the standard deviation over the used seatings; LowDB and
	// HighDB their extremes.
	SpreadDB []float64 `json:"spread_db,omitempty"`
	LowDB    []float64 `json:"low_db,omitempty"`
	HighDB   []float64 `json:"high_db,omitempty"`
	Valid    []bool    `json:"valid,omitempty"`
	// StdErrDB is the combined standard uncertainty of LevelDB, HalfDB the
	// half-width of its interval at the study's confidence.
	StdErrDB []float64   `json:"stderr_db,omitempty"`
	HalfDB   []float64   `json:"half_db,omitempty"`
	Budget   []BudgetRow `json:"budget,omitempty"`
	Notes    []string    `json:"notes,omitempty"` // what the interval does not hold, in plain words
}

// CurveMember says whether a seating went into a final curve, and why.
type CurveMember struct {
	ID        string `json:"id"`
	Seating   int    `json:"seating"`
	Used      bool   `json:"used"`
	Corrected bool   `json:"corrected"`
	Why       string `json:"why"`
}

// BudgetRow is one source of uncertainty of a final curve (JCGM 100:2008),
// per third-octave band; the last row is the combination.
type BudgetRow struct {
	Source string    `json:"source"`
	Type   string    `json:"type"` // "A" (statistics of this study), "B" (otherwise), "combined"
	StdDB  []float64 `json:"std_db"`
	DF     []float64 `json:"df"` // degrees of freedom; 0 = so many that they do not matter
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
	Ear               string        `json:"ear"`
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
	Shift    float64 `json:"shift"`
}

// ModelAnalysis is everything estimated about one headphone model. Parts that
// the study cannot support are nil or empty, and Cannot says why.
type ModelAnalysis struct {
	Model       string           `json:"model"`
	OpenBack    bool             `json:"open_back"` // the data show no seal
	Survey      [2]*SurveyReport `json:"survey"`
	Offsets     []Offset         `json:"offsets,omitempty"`
	Worn        *Worn            `json:"worn,omitempty"`
	Verdicts    []Verdict        `json:"verdicts,omitempty"`
	Corrections []Correction     `json:"corrections,omitempty"`
	Curves      []FinalCurve     `json:"curves,omitempty"`
	Sensitivity []Sensitivity    `json:"sensitivity,omitempty"`
	Cannot      []string         `json:"cannot,omitempty"` // what this study cannot answer about the model, in plain words
}

// Analysis is everything estimated about a study.
type Analysis struct {
	Models    []ModelAnalysis `json:"models"`
	StandOuts []StandOut      `json:"stand_outs,omitempty"`
	Cannot    []string        `json:"cannot,omitempty"`
}
