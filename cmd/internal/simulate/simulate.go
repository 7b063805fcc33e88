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
	"asworn/capture/study"
	"asworn/fitcorr"
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

// Design says what kind of study to invent; the zero value is not useful,
// start from BarDesign.
type Design struct {
	Listeners, Seatings int
	Closed, Open        int // number of models of each kind
	FixtureSeatings     int // ordinary fixture seatings per model; those past a plan's end are placed at random
	// FixtureOffsetsMM places fixture seating i at exactly this distance from
	// the target, in a random direction of the forward-up plane.
	FixtureOffsetsMM []float64
	// FixtureYawMM displaces the left cup of fixture seating i forward by so much, and
	// the right one back; past the list, they are not.
	FixtureYawMM []float64
	WornYawMM    float64 // people wear the left cup forward by so much, and the right one back
	AboutPeople  bool    // the target is the mean of the population, not of this panel's seatings
	// Apart says that the fixture's drum and blocked recordings are different
	// placements: ordinary seatings at the drum, BlockedSeatings more at the
	// blocked entrance (of the same plan), and a survey at each point, about one mark that is found
	// again with the error MarkSD.
	Apart           bool
	BlockedSeatings int
	MarkSD          float64 // mm per axis, 1.5 times it in degrees
	SurveySize      int     // displacements per model and surveyed point, 0 is no survey
	SurveyLeaks     int     // deliberate-leak rows per closed model, beyond SurveySize
	RulerSD         float64 // operator's error in setting a displacement, mm (1.5 times it in degrees)
	BareEar         bool
	BareTurnsDeg    []float64 // of the head in bare-ear references from further places of the loudspeaker
	EarStrength     float64   // multiplies every difference between ears; 1 is anthropometric
	FixtureEar      float64   // multiplies it once more on the fixture's ear, 1 is usual
	EvenCups        bool      // opposite displacements from the mark sound nearly alike
	NoiseDB         float64   // microphone noise beyond the usual, dB
	LeakChance      float64   // probability that an ear of a worn seating of a closed model leaks
	LeakListeners   bool      // leaks belong to listeners (glasses, hair): LeakChance is that of a person, who leaks on both sides in every seating
	FixtureLeak     bool      // the last fixture seating of every closed model leaks, with Apart the last at the drum
	Nonlinearity    float64   // 1 is usual; larger brings the driver nearer to the ear and hardens the cup
	BetweenSD       float64   // of worn positions between listeners, mm
	WithinSD        float64   // of worn positions within a listener, mm
	MeanSD          float64   // how far the people's mean may lie from the fixture's mark, mm per axis
	Scatter         float64   // multiplies the unmodelled scatter: cushion, tilt, microphone, gain
	// DisplacedListeners are listeners that also wear every model at deliberate
	// displacements from their own usual place.
	DisplacedListeners int
	// FallenMicrophones is how many worn seatings per model have the left
	// microphone out of place.
	FallenMicrophones int
	// Readings says that an operator reads every headphone's position off the
	// head (capture.Reading), with the errors below.
	Readings          bool
	ReadPointMM       float64 // how far the point of the cup that is read lies from the cup's middle
	ReadSD            float64 // of one reading, mm per axis
	LandmarkSD        float64 // of finding the canal's entrance on a listener, mm per axis, the same in all readings on that head
	FixtureLandmarkSD float64 // the same on the fixture
	ReadingsEach      int     // readings of each placement, of left and right cups in turn where there are several
	Readers           int     // the first reads the fixture, all of them the listeners in turn
	AllReadAll        bool    // all readers read the fixture too
	ReaderSD          float64 // of what is common to all readings of a reader, mm per axis
	ReadTails         bool    // errors of one reading follow Student's t with three degrees of freedom, scaled to ReadSD
	SlipChance        float64 // probability that a reading is written down wrongly: axes exchanged, sign lost, or a centimetre off
	Laws              Laws
}

// BarDesign is the panel to which the bars of the method apply: eight
// listeners, three models and a bare-ear reference, fifteen displacements.
func BarDesign() Design {
	return Design{
		Listeners: 8, Seatings: 5, Closed: 2, Open: 1,
		FixtureSeatings: 6, FixtureOffsetsMM: []float64{0, 0, 3, 3, 6, 6},
		SurveySize: 15, SurveyLeaks: 2, RulerSD: 0.3, BareEar: true,
		EarStrength: 1, FixtureEar: 1, LeakChance: 0.2, Nonlinearity: 1,
		BetweenSD: 1.7, WithinSD: 1.2, MeanSD: 2, Scatter: 1,
		ReadSD: 1, LandmarkSD: 0.7, FixtureLandmarkSD: 0.5, ReadPointMM: 10,
		ReadingsEach: 1, Readers: 1,
	}
}

// Row is one recording of an invented study: what the seating sheet says and
// what is true.
type Row struct {
	capture.Seating
	ModelIndex   int // -1 without a headphone
	SubjectIndex int
	True         [2]Placement
	YawDeg       float64 // bare-ear reference: the head's turn
}

// WornTruth is the truth about how people wear one model.
type WornTruth struct {
	// Mean is the mean of the population the panel was drawn from; PanelMean
	// the mean of the positions of this panel's seatings. Forward mm, up mm, rotation degrees.
	Mean      [3]float64 `json:"mean"`
	PanelMean [3]float64 `json:"panel_mean"`
	BetweenSD [3]float64 `json:"between_sd"`
	WithinSD  [3]float64 `json:"within_sd"`
}

// Study is an invented study before it is heard.
type Study struct {
	Design Design
	Models []string
	Open   []bool
	Rows   []Row
	// Readings are those of readings.csv, where several were taken.
	Readings []study.ReadingRow
	Worn     []WornTruth // per model
	// Mark is, per model, where the survey at the drum had the mark in the
	// coordinates of that at the blocked entrance: forward mm, up mm, rotation degrees.
	Mark  [][3]float64
	World Acoustics
	leaks []float64 // per listener: the slit of glasses or hair, mm; -1 where leaks belong to seatings
}

// Headset returns the true offset of the headset: the mean of both cups.
func (r Row) Headset() [3]float64 {
	a, b := r.True[capture.Left].Vector(), r.True[capture.Right].Vector()
	var out [3]float64
	for i := range out {
		out[i] = (a[i] + b[i]) / 2
	}
	return out
}

// Target is the worn mean that fixture seatings are placed about and judged by:
// of this panel's seatings, or of the population when the design says so.
func (s *Study) Target(model int) [3]float64 {
	if s.Design.AboutPeople {
		return s.Worn[model].Mean
	}
	return s.Worn[model].PanelMean
}

// plain returns the row as the estimators see it, without its curves.
func (r Row) plain() fitcorr.Seating {
	return fitcorr.Seating{
		ID: r.File, Model: r.Model, Unit: r.Unit, Subject: r.Subject, Point: r.Point,
		Number: r.Number, Survey: r.Survey, Read: r.Read, Loudspeaker: r.Loudspeaker, Seal: r.Seal,
	}
}
