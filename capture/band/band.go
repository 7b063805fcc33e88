// Package band holds the fractional-octave bands on which asworn keeps levels:
// the exact base-ten mid-band frequencies of IEC 61260-1:2014.
package band

import "math"

// OctaveRatio is G of IEC 61260-1:2014, equation (1): 10^(3/10).
var OctaveRatio = math.Pow(10, 0.3)

// ReferenceHz is the reference frequency of IEC 61260-1:2014.
const ReferenceHz = 1000.0

// Band is one fractional-octave band; all frequencies in Hz.
type Band struct {
	Lower, Mid, Upper float64
}

// Exact returns band number x of the 1/fraction-octave set. Mid-band
// frequencies follow IEC 61260-1:2014 equations (2) (odd fraction) and (3)
// (even fraction), edges equations (4) and (5).
func Exact(x, fraction int) Band {
	b := float64(fraction)
	e := float64(x) / b
	if fraction%2 == 0 {
		e = (2*float64(x) + 1) / (2 * b)
	}
	mid := ReferenceHz * math.Pow(OctaveRatio, e)
	half := math.Pow(OctaveRatio, 1/(2*b))
	return Band{Lower: mid / half, Mid: mid, Upper: mid * half}
}

// Fraction is the resolution in which levels are kept: 1/24 octave.
const Fraction = 24

// PerThird is the number of kept bands that make exactly one third-octave band.
const PerThird = Fraction / 3

// The kept set is every 1/24-octave band of the third-octave bands 20 Hz to
// 20 kHz, by their numbers in IEC 61260-1.
const (
	firstThird = -17
	lastThird  = 13
)

// Count is the number of kept 1/24-octave bands; Thirds that of the
// third-octave bands above them.
const (
	Thirds = lastThird - firstThird + 1
	Count  = Thirds * PerThird
)

// kept is what All returns.
var kept = func() (out [Count]Band) {
	for i := range out {
		out[i] = Exact(firstThird*PerThird-PerThird/2+i, Fraction)
	}
	return out
}()

// All returns the Count kept 1/24-octave bands, lowest first.
func All() []Band {
	out := kept
	return out[:]
}

// AllThirds returns the Thirds third-octave bands above the kept ones; band i
// spans the kept bands PerThird·i to PerThird·(i+1)−1.
func AllThirds() []Band {
	out := keptThirds
	return out[:]
}

// keptThirds is what AllThirds returns.
var keptThirds = func() (out [Thirds]Band) {
	for i := range out {
		out[i] = Exact(firstThird+i, 3)
	}
	return out
}()
