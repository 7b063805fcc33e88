package toy

import (
	"math"
	"math/cmplx"
)

// Properties of air at 20 °C and 101.325 kPa (standard values, rounded).
const (
	airDensity   = 1.204   // kg/m³
	airViscosity = 1.82e-5 // Pa·s
	speedOfSound = 343.2   // m/s
)

// Slit is a narrow slit between pad and skin; all lengths in metres.
type Slit struct {
	Height, Width, Length float64 // gap, extent along the pad, depth through the pad
}

// Resistance returns R = 12ηl/(h³w) in Pa·s/m³ (plane Poiseuille flow).
func (s Slit) Resistance() float64 {
	return 12 * airViscosity * s.Length / (math.Pow(s.Height, 3) * s.Width)
}

// Mass returns M = 6ρl/(5hw) in kg/m⁴ (the parabolic profile's kinetic energy).
func (s Slit) Mass() float64 {
	return 6 * airDensity * s.Length / (5 * s.Height * s.Width)
}

// Compliance returns C = V/(ρc²) in m³/Pa of a closed volume in m³ (adiabatic).
func Compliance(volume float64) float64 { return volume / (airDensity * speedOfSound * speedOfSound) }

// LossDB is the level that a leak takes, in dB, by its response: the pressure with it over
// that of the sealed cup.
func LossDB(response complex128) float64 { return -20 * math.Log10(cmplx.Abs(response)) }

// Corner returns corner frequency (Hz) and damping 1/Q of a leak of resistance r
// (Pa·s/m³) and mass m (kg/m⁴) across a compliance c (m³/Pa).
func Corner(r, m, c float64) (hz, damping float64) {
	return 1 / (2 * math.Pi * math.Sqrt(m*c)), r * math.Sqrt(c/m)
}
