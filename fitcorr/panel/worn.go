package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// Result is what the panel says about one model.
type Result struct {
	Worn    Worn
	Mean    [placing.HeadsetDim]float64 // mean of the panel's worn positions, mm, mm, degrees of the left cup, then of the right
	MeanCov *mat.SymDense               // covariance of Mean, HeadsetDim square, in products of mm and degrees
	Offsets []position.Offset
	between *mat.SymDense
	within  *mat.SymDense
	Doubts  []string // worn seatings that hardly count, and why
}

// Worn is the distribution of the worn offsets of one model.
type Worn struct {
	Listeners int              `json:"listeners"`
	Seatings  int              `json:"seatings"`
	Mean      seat.Estimate    `json:"mean"`     // both ears together
	EarMean   [2]seat.Estimate `json:"ear_mean"` // per ear
	// People is the mean of the people that the panel was drawn from; Mean is
	// that of the panel's own seatings, which a fixture seating is held against.
	People seat.Estimate `json:"people"`
	// Standard deviations between listeners and within a listener per axis (mm, mm,
	// degrees), with standard errors.
	BetweenSD [3]float64 `json:"between_sd"`
	BetweenSE [3]float64 `json:"between_se"` // of BetweenSD: mm, mm, degrees
	WithinSD  [3]float64 `json:"within_sd"`
	WithinSE  [3]float64 `json:"within_se"` // of WithinSD: mm, mm, degrees
	// SamplingSD is the part of the mean's standard error that comes from who
	// happened to be on the panel, as the model states it; BootstrapSD is the
	// same by drawing the listeners again and again (docs/offsets.md).
	SamplingSD  [3]float64 `json:"sampling_sd"`
	BootstrapSD [3]float64 `json:"bootstrap_sd"`
	// Separation names what told ear shape from position.
	Separation []Separation `json:"separation"`
	// Readings says how far positions were read off heads; nil when they were not.
	Readings *Readings `json:"readings,omitempty"`
	// LeakLossDB is the mean worn level loss at 20, 50, 100 Hz per ear: over listeners,
	// each the mean of their seatings, with its standard error (0 of one listener)
	// and degrees of freedom, and the SD over seatings.
	LeakLossDB [2][3]float64 `json:"leak_loss_db"`
	LeakLossSE [2][3]float64 `json:"leak_loss_se_db"`
	LeakDF     [2]float64    `json:"leak_df"`
	LeakLossSD [2][3]float64 `json:"leak_loss_sd_db"`
}

// SeatingSD is the standard deviation of one seating of one listener along an axis.
func (w *Worn) SeatingSD(a seat.Axis) float64 { return math.Hypot(w.BetweenSD[a], w.WithinSD[a]) }

// UsualLoss is the mean worn loss at 50 Hz at an ear with one standard deviation over
// seatings below and above it, dB: low, mean, high. It is cut at zero, since no leak adds level.
func (w *Worn) UsualLoss(ear capture.Ear) [3]float64 {
	mean, sd := w.LeakLossDB[ear][1], w.LeakLossSD[ear][1]
	return [3]float64{min(mean, max(0, mean-sd)), mean, mean + sd}
}

// Readings is what the positions read off heads (Seating.Read) came to for one
// model: how many could be used, and the standard deviations in mm that they
// show, of one reading and of a landmark on a listener (both pooled over models), and
// that of the fixture's landmark, which they do not.
type Readings struct {
	Worn              int     `json:"worn"`
	OnFixture         int     `json:"on_fixture"`
	OneMM             float64 `json:"one_mm"`
	LandmarkMM        float64 `json:"landmark_mm"`
	FixtureLandmarkMM float64 `json:"fixture_landmark_mm"`
}

// Separation is something that tells ear shape from position.
type Separation string

// What can tell ear shape from position.
const (
	ByReadings           Separation = "read positions"
	ByBareEars           Separation = "bare-ear reference"
	BySharedPanel        Separation = "shared panel" // listeners who wore several models
	ByDisplacedListeners Separation = "displaced listeners"
	ByPrior              Separation = "prior" // an assumption of how ears differ
)
