package given

import (
	"fmt"
	"math"

	"asworn/capture/band"
	"asworn/capture/curve"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
)

const (
	// coarse is the distance of neighbouring points, in octaves, from which a
	// curve no longer shows what moves with a headphone. Our choice: notches of
	// the outer ear are a third of an octave wide (common practice, no source).
	coarse = 1. / 6
	// steps per band of the mean over it.
	steps = 8
	// clearOctaves is how far the points around a band may be apart for it to count.
	clearOctaves = 1. / 2
)

// Curves makes a response of a level curve per ear; a curve without points is an
// ear that there is none of. A band's level is the power average over it of the
// curve between its points, linear in level over the logarithm of frequency; a
// band counts where points lie on both sides of it, not too far apart. Levels are
// the curve's own ("dB, relative"); noise and standard errors are not known and
// are 0. The setup's microphone corrections are not applied: what made the curve
// did that.
func Curves(ears [2]curve.Curve) response.Recording {
	rec := empty()
	for e, c := range ears {
		if len(c.Hz) == 0 {
			continue
		}
		r := &rec.Ears[e]
		for i, b := range band.All() {
			r.LevelDB[i], r.Valid[i] = bandLevel(c, b)
		}
		if apart, hz := widest(c); apart > coarse {
			rec.AddFindings(finding.New(finding.CoarseCurve,
				fmt.Sprintf("points of the curve are up to %.2f octave apart (near %.0f Hz): narrow notches, which tell position, do not show", apart, hz)).
				On(study.Ear(e).String()).Of(apart, "octave"))
		}
	}
	rec.AddFindings(untold("a curve", "smoothing, noise, clipping, clock, distortion and repeats"))
	return rec
}

// bandLevel is the level of the curve in a band, dB.
func bandLevel(c curve.Curve, b band.Band) (float64, bool) {
	last := len(c.Hz) - 1
	if b.Lower < c.Hz[0]*0.999 || b.Upper > c.Hz[last]*1.001 {
		return response.NoLevelDB, false
	}
	sum := 0.0
	for i := range steps {
		f := b.Lower * math.Pow(b.Upper/b.Lower, (float64(i)+0.5)/steps)
		sum += math.Pow(10, c.LevelDB(f)/10)
	}
	below, above := c.Around(b.Mid)
	return 10 * math.Log10(sum/steps), math.Log2(above/below) <= clearOctaves
}

// widest is the largest distance of neighbouring points from 200 Hz to 10 kHz, in
// octaves, and where it is.
func widest(c curve.Curve) (octaves, hz float64) {
	for i := 1; i < len(c.Hz); i++ {
		lo, hi := c.Hz[i-1], c.Hz[i]
		if d := math.Log2(hi / lo); hi > 200 && lo < 10000 && d > octaves {
			octaves, hz = d, math.Sqrt(lo*hi)
		}
	}
	return octaves, hz
}
