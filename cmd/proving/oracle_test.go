package main

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"asworn/fitcorr"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/verdict"
)

// How often use could be said of seatings in place by one who knows all but what nobody can
// know: errors of readings and landmarks are what the design says, exactly known, the panel's mean
// has no others, both cups' places against each other are known exactly, and the
// fixture seating's to so many mm. The cups of a seating lie off the headset by what is simulated. The figures
// are those of docs/developing/proving.md. With ASWORN_LONG set.
func TestOracleWithReadings(t *testing.T) {
	if os.Getenv("ASWORN_LONG") == "" {
		t.Skip("set ASWORN_LONG")
	}
	d := ordinary()
	worn := float64(d.Listeners * d.Seatings)
	mean := func(each float64) float64 { // variance per axis of the panel's mean
		const round = 0.5 * 0.5 / 12 // readings are written down to half a millimetre
		return d.FixtureLandmarkSD*d.FixtureLandmarkSD + placing.ReadTurnMM*placing.ReadTurnMM +
			d.LandmarkSD*d.LandmarkSD/float64(d.Listeners) + (d.ReadSD*d.ReadSD+round)/(each*worn)
	}
	// Of each cup about the headset: the fixture's seating, and eight listeners' own.
	own := math.Sqrt(0.3*0.3 + 0.2*(d.BetweenSD*d.BetweenSD+d.WithinSD*d.WithinSD/float64(d.Seatings))/2/float64(d.Listeners))
	for _, c := range []struct{ each, fixtureMM, use float64 }{
		{1, 0, 0.94}, {1, 0.4, 0.84}, {1, 0.5, 0.77}, {1, 0.6, 0.68},
		{4, 0, 0.96}, {4, 0.3, 0.91}, {4, 0.4, 0.86}, {4, 0.5, 0.80},
	} {
		got := oracleUse(math.Sqrt(mean(c.each)+c.fixtureMM*c.fixtureMM), own)
		t.Logf("%g readings each, fixture seating known to %g mm: use of %.3f", c.each, c.fixtureMM, got)
		if math.Abs(got-c.use) > 0.02 {
			t.Errorf("%g readings each, fixture seating known to %g mm: use of %.3f, want %.2f", c.each, c.fixtureMM, got, c.use)
		}
	}
}

// oracleUse is the share of use of seatings in place whose distance from the panel's mean
// is known with a standard deviation of sd mm per axis, both cups' errors being one, and whose cups
// lie own mm (SD per axis) off the middle in opposite directions.
func oracleUse(sd, own float64) float64 {
	const trials = 10_000
	rng := rand.New(rand.NewPCG(41, 42))
	opt := fitcorr.DefaultOptions()
	cov := placing.HeadsetCov([3]float64{sd, sd, 1}, [3]float64{1e-3, 1e-3, 1})
	use := 0
	for range trials {
		var pos [placing.HeadsetDim]float64
		for a := range placing.ReadDim {
			headset, half := sd*rng.NormFloat64(), own*rng.NormFloat64()
			pos[a], pos[3+a] = headset+half, headset-half
		}
		ears, headset := placing.Estimates(pos, cov, cov)
		if verdict.JudgePosition(ears, headset, opt.MaxOffsetMM, opt.Confidence).Outcome == fitcorr.Use {
			use++
		}
	}
	return float64(use) / trials
}
