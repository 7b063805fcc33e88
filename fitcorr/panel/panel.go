package panel

import (
	"context"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/displaced"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
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
}

// panelModel is one headphone model worn by the panel. Slices over bands have
// one value per position band (n).
type panelModel struct {
	setup    *position.Model
	ears     [2]placing.Ear
	scatter  [2]*mat.SymDense // dB², n × n: of a worn seating about ear and surface
	within   *mat.SymDense    // D, 6 × 6: of a listener's seatings about the listener's mean
	straight [2]straight
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

	// Filled by linearise; rows are both ears' bands, then the read position.
	z      *mat.VecDense // dB, then mm
	slope  *mat.Dense    // J, rows × 6
	inner  *mat.SymDense // rows × rows: inverse covariance given the position
	logDet float64       // of the covariance that weight is the inverse of
	weight *mat.SymDense // the same with the seating's own position marginalised out
}

// bareReference is one recording of a listener's bare ears less the fixture's with
// the loudspeaker in the same place.
type bareReference struct {
	place    int          // of the loudspeaker, counted from 0
	level    [2][]float64 // dB per position band
	variance [2][]float64 // dB²; survey.MissingVar where the band does not count
	present  [2]bool      // a third of the bands counts
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

// Fit fits the panel and returns its results by the name of the model;
// a model that nobody wore has none.
func Fit(ctx context.Context, models []*position.Model, bareRows []seat.Seating, opt seat.Options) (map[string]*Result, error) {
	p := newPanel(models, bareRows, seat.ReadingOr(opt.Reading))
	if len(p.models) == 0 {
		return nil, nil
	}
	fit, err := p.estimate(ctx, opt.Jobs)
	if err != nil {
		return nil, err
	}
	out := map[string]*Result{}
	for m, pm := range p.models {
		out[pm.setup.Name] = fit.result(m, opt)
	}
	return out, nil
}
