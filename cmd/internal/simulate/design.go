package simulate

import "asworn/capture"

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
	MarkSD          float64                // mm per axis, 1.5 times it in degrees
	SurveySize      int                    // displacements per model and surveyed point, 0 is no survey
	Displacements   []capture.Displacement // that the survey takes in this order, again from the first after the last; nil is a list of our own
	SurveyLeaks     int                    // deliberate-leak rows per closed model, beyond SurveySize
	RulerSD         float64                // operator's error in setting a displacement, mm (1.5 times it in degrees)
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
	FixtureFindings   int     // how often the canal's entrance of the fixture is found, each time with that error; readings are from the mean mark. Up to 1 it is found once and not written down
	FindingsAlike     float64 // share of the variance of that error which all findings have in common
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

// Laws says how what people and operators do is distributed. Standard
// deviations are those of the design either way.
type Laws int

const (
	// NormalLaws are Gaussian, as the estimators assume.
	NormalLaws Laws = iota
	// UnlikeLaws are none of the estimators': listeners in two groups of unlike
	// size, placements with heavy tails, cushions that are skewed, a ruler and a
	// people's mean with hard limits, landmarks missed to one side, leaks whose
	// heights spread over a decade.
	UnlikeLaws
)
