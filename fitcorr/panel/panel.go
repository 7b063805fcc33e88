// Package panel says where people wear a model: it tells the shape of
// everybody's ears from the positions of their headphones, over all models
// together, and returns worn offsets and the worn mean with what they are
// uncertain by (docs/offsets.md). It must not know verdicts and corrections.
//
// # The model
//
// A mixed model (random effects, Laird & Ware, Biometrics 38, 1982) with one
// vector per listener:
//
//	z = H·u_s + J·w + e     one worn seating of listener s
//	u_s = θ + x_s           θ = L₀·η, η ~ N(0, I);  x_s ~ N(0, Λ)
//
// z is the level of both ears on the position bands, in dB, less the surface of
// the fixture at the point of linearisation. w is how far this seating lies from
// the listener's mean position, ~ N(0, D) with D = panelModel.within; J (rows ×
// 6, dB per mm and per degree) is the slope of the response; e is the scatter.
// θ is what all listeners share: the worn mean, and minus the fixture's own ear,
// which is one draw; x_s is what a listener has of their own. Λ is the
// covariance between people (covariances), Λ₀ = L₀L₀' that of θ.
//
// Single seatings are marginalised out (kind), then listeners (group), θ is solved
// last (expect); covariances are learned by expectation–maximisation
// (Dempster, Laird & Rubin, JRSS B 39, 1977; estimate).
//
// What stands where in u_s, θ and x_s, and how ears differ: package effects.
package panel

import (
	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/displaced"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/linear"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
)

// panel is everybody's worn seatings of the models that have a survey, with what
// is known of them at the moment.
type panel struct {
	effects.Layout
	models    []*panelModel
	listeners []*listener
	stated    capture.ReadingUncertainty // before the panel was heard
	reading   capture.ReadingUncertainty // as the panel shows it
	notes     []string                   // what of the panel is not used, and why
	space     workspaces
}

// panelModel is one headphone model worn by the panel. Slices over bands have
// one value per position band (n).
type panelModel struct {
	setup   *position.Model
	ears    [2]placing.Ear
	scatter [2]*mat.SymDense // dB², n × n: of a worn seating about ear and surface
	within  *mat.SymDense    // D, 6 × 6: of a listener's seatings about the listener's mean
	surface [2]linear.Surface
	// Where the surfaces are made straight: near the panel's mean position as the last fit
	// has it, and the mean square that the mean lies off it, mm², forward and up.
	mean         [placing.HeadsetDim]float64
	meanVariance [placing.ReadDim]float64
	shared       float64              // share of that variance in all that a surface is straight over
	displaced    []displaced.Listener // what listeners displaced on purpose say
	mark         placing.Mark         // what reading the fixture's rows gave at the marked position
}

// listener is one person of the panel.
type listener struct {
	subject string
	worn    []wornSeating
	bare    []bareReference
}

// wornSeating is one seating of one listener.
type wornSeating struct {
	model     int // into panel.models
	id        int // into that model's setup.Seatings
	obs       placing.Observation
	read      *[placing.ReadDim]float64 // mm, relative to the fixture's mark; nil when not read
	worth     float64                   // single readings that read is worth
	readDoubt float64                   // factor on the variance of read when above 1: far off
	inflation [2]float64                // per ear, factor on its variance when above 1: an outlier

	// Filled by lineariseAll.
	kind   *kind
	z      *mat.VecDense // dB: both ears' bands
	beside *mat.VecDense // mm: the reading less what the levels say of it
	told   *mat.Dense    // ReadDim square: the inverse covariance of that; nil when not read
	logDet float64       // of the covariance of levels and reading
}

// bareReference is one recording of a listener's bare ears less the fixture's with
// the loudspeaker in the same place.
type bareReference struct {
	place    int           // of the loudspeaker, counted from 0
	level    [2][]float64  // dB per position band
	variance [2][]float64  // dB²; survey.MissingVar where the band does not count
	present  [2]bool       // a third of the bands counts
	inner    [2]*mat.Dense // inverse covariance of the levels, n × n; nil when not present
}

// wears reports whether the listener has a worn seating of model m.
func (l *listener) wears(m int) bool {
	for i := range l.worn {
		if l.worn[i].model == m {
			return true
		}
	}
	return false
}

// displacedListeners reports whether any listener wore a model displaced.
func (p *panel) displacedListeners() bool {
	for _, m := range p.models {
		if len(m.displaced) > 0 {
			return true
		}
	}
	return false
}

// law is how the ears of this panel may differ.
func (p *panel) law() effects.Law {
	return effects.Law{Layout: p.Layout, Listeners: float64(len(p.listeners))}
}

// panelFit is the posterior of a panel.
type panelFit struct {
	*panel
	cov       *effects.Covariances
	theta     *mat.VecDense
	thetaRoot *mat.Dense // T: Cov(θ) = TT'
	lower     bool       // L₀ and T are lower triangular, which they are but for a singular Λ₀
	groups    []*group
	per       []listenerFit
	deviance  float64 // −2 log marginal likelihood of all seatings, up to a constant
	levels    float64 // how many levels of worn seatings it is the deviance of
	rounds    int     // of expectation–maximisation
	change    float64 // of the deviance per level in the last round
}
