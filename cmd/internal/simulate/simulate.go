// Package simulate invents studies whose truth is known, for the demo study and for
// the proving ground: who wears what where, and what the estimators see of it. It
// shares nothing with the estimators but plain types and file formats.
//
// How headphones sound on ears is computed from physics in the rooms below: piston,
// modal, lattice and beam, each a World; demo makes files of a study.
// docs/developing/simulation.md describes them and lists their sources.
package simulate

import (
	"asworn/capture"
)

// Properties of air at 20 °C and 101.325 kPa (handbook values, quoted from memory).
const (
	AirDensity   = 1.204    // kg/m³
	SoundSpeed   = 343.2    // m/s
	AirViscosity = 1.825e-5 // Pa·s
)

// Placement is the true state of one cup on one ear.
type Placement struct {
	// Displacement of the cup against the ear, in head axes, relative to the
	// fixture's marked position of that model.
	capture.Displacement
	GapMM   float64    // cushion thickness beyond the nominal one, positive is farther out
	TiltDeg [2]float64 // baffle's lean beyond the nominal one about the up and the forward axis
	SlitMM  float64    // height of the slit under the cushion; 0 is sealed
	MicMM   [2]float64 // microphone against its usual place, forward and up
	GainDB  float64    // sensitivity drift of the microphone
}

// Seal is the truth about a leak.
type Seal struct {
	// CornerHz is 1/(2π√(MC)) of the slit's mass M and the compliance C that
	// it sees (cavity and driver); 0 when sealed, or open by design.
	CornerHz float64 `json:"corner_hz"`
	// LossDB is the level lost at 20, 50 and 100 Hz against the sealed cup, positive is lost.
	LossDB [3]float64 `json:"loss_db"`
}

// Acoustics is a physical world: headphone models and ears. Subject numbers
// count listeners from 0; the fixture is the number after the last listener.
// All methods are safe for concurrent use and return one complex value per
// frequency of the grid, in pascals per volt.
type Acoustics interface {
	// Headphone is the pressure at the blocked canal entrance.
	Headphone(model, subject int, ear capture.Ear, p Placement, g *Grid) []complex128
	// Loudspeaker is the same without a headphone, for a loudspeaker in a fixed
	// place and a head turned by yawDeg away from its marked direction.
	Loudspeaker(subject int, ear capture.Ear, yawDeg float64, micMM [2]float64, g *Grid) []complex128
	// Canal is the ratio of the pressure at the drum reference point to that at
	// the blocked entrance (dimensionless).
	Canal(subject int, ear capture.Ear, g *Grid) []complex128
	// Seal is the truth about the leak of a placement.
	Seal(model, subject int, ear capture.Ear, p Placement) Seal
}
