// Package exposure turns calibrated recordings into sound levels and the sound
// exposure of a session, as a caution to the operator. It is no substitute for
// a qualified person, and local rules come first.
package exposure

import "math"

// ReferencePa is the reference sound pressure, 20 µPa.
const ReferencePa = 20e-6

// The poles of the A-weighting, IEC 61672-1:2013, annex E: f1 to f4 in Hz.
const (
	f1 = 20.60
	f2 = 107.7
	f3 = 737.9
	f4 = 12194
)

// AWeightDB returns the frequency weighting A at f (Hz, above 0) in dB
// relative to 1 kHz: the analytical expression of IEC 61672-1:2013, annex E,
// normalised to 0 dB at 1 kHz. It is −Inf at 0 Hz.
func AWeightDB(f float64) float64 {
	return 20 * math.Log10(aMagnitude(f)/aMagnitude(1000))
}

func aMagnitude(f float64) float64 {
	q := f * f
	return f4 * f4 * q * q /
		((q + f1*f1) * math.Sqrt((q+f2*f2)*(q+f3*f3)) * (q + f4*f4))
}
