package seat

import (
	"asworn/capture"
	"asworn/capture/study"
)

// ReadingOr returns what a lab states of its readings, with the defaults of the
// study format where it states nothing.
func ReadingOr(r capture.ReadingUncertainty) capture.ReadingUncertainty {
	d := study.Default().Reading
	for _, f := range []struct{ to, or *float64 }{
		{&r.OneMM, &d.OneMM}, {&r.LandmarkMM, &d.LandmarkMM}, {&r.FixtureLandmarkMM, &d.FixtureLandmarkMM},
	} {
		if *f.to <= 0 {
			*f.to = *f.or
		}
	}
	return r
}

// Options are the choices of a study; the zero value is not useful, start
// from DefaultOptions.
type Options struct {
	study.Limits     // criteria of the verdict
	Bootstrap    int // seeded draws of the bootstraps (worn mean, ranking of models); 0 means their defaults
	Seed         uint64
	Jobs         int // workers; 0 means all cores
	// CalibrationDB is the standard uncertainty of the level calibration (from
	// the calibrator's and microphone's certificates); 0 = not stated.
	CalibrationDB float64
	// MarkMM is the standard uncertainty, mm per axis, of finding the marked
	// position again between the surveys at the two points; 0 stands for
	// DefaultMarkMM.
	MarkMM float64
	// Reading says how well positions are read off heads (Seating.Read); zero
	// fields stand for the defaults of the study format.
	Reading capture.ReadingUncertainty
}

// DefaultMarkMM is that of the study format.
const DefaultMarkMM = study.DefaultMarkMM

// MarkOr returns MarkMM with its default where nothing is stated. It is in mm per axis.
func (o Options) MarkOr() float64 {
	if o.MarkMM > 0 {
		return o.MarkMM
	}
	return DefaultMarkMM
}

// DefaultOptions returns the defaults of the study format.
func DefaultOptions() Options {
	return Options{Limits: study.Default().Limits, Seed: 1}
}
