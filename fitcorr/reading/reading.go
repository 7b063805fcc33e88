package reading

import (
	"math"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// Axes are forward and up, mm: what is read off a head.
const Axes = 2

// Placement names what was read: one seating of a model on a head.
type Placement struct {
	Head, Model string
	Number      int
}

// OnFixture reports whether the head is the fixture's.
func (p Placement) OnFixture() bool { return p.Head == study.FixtureSubject }

func placementOf(r study.ReadingRow) Placement { return Placement{r.Subject, r.Model, r.Number} }

func vector(r study.ReadingRow) [Axes]float64 { return [Axes]float64{r.ForwardMM, r.UpMM} }

// Estimate is where a headphone was read to sit, the readers' biases taken off.
type Estimate struct {
	MM [Axes]float64 // mean of both cups
	// Readings is how many readings of standard deviation OneMM the estimate is
	// worth: its variance is OneMM² over this.
	Readings float64
	// CupMM are the cups, mm, and CupReadings how many single readings each is worth, 0
	// for a cup that was not read by itself.
	CupMM       [2][Axes]float64
	CupReadings [2]float64
}

// Apart is half of what the left cup was read before and above the right one, mm, and how many
// single readings that is worth: its variance is OneMM² over them, 0 where not both were read.
func (e Estimate) Apart() (mm [Axes]float64, worth float64) {
	l, r := e.CupReadings[0], e.CupReadings[1]
	if l == 0 || r == 0 {
		return mm, 0
	}
	for a := range mm {
		mm[a] = (e.CupMM[0][a] - e.CupMM[1][a]) / 2
	}
	return mm, 4 * l * r / (l + r)
}

// Give gives a seating its estimate.
func (e Estimate) Give(s *seat.Seating) {
	s.Read, s.ReadWorth = &capture.Reading{ForwardMM: e.MM[0], UpMM: e.MM[1]}, e.Readings
	if apart, worth := e.Apart(); worth > 0 {
		s.ReadApart, s.ReadApartWorth = &capture.Reading{ForwardMM: apart[0], UpMM: apart[1]}, worth
	}
}

// Learned is a standard deviation with the degrees of freedom it is known with.
type Learned struct {
	MM float64 `json:"mm"`
	DF float64 `json:"df"`
}

// Reader is one reader's bias against the mean of all, mm, and its standard error.
type Reader struct {
	Name     string        `json:"name"`
	Readings int           `json:"readings"`
	BiasMM   [Axes]float64 `json:"bias_mm"`
	SE       float64       `json:"stderr_mm"`
}

// Result is what readings come to.
type Result struct {
	At      map[Placement]Estimate
	One     Learned // of one reading about its placement, per axis, the reader's bias taken off
	Readers []Reader
	Bias    Learned // between readers; DF 0 where one person read everything
	// ApartMM is the standard deviation per axis of what the readers of the fixture
	// have not in common with those of the listeners: 0 where the same people read both alike.
	ApartMM float64
	// Landmark is that of one finding of a listener's canal entrance, per axis, and
	// FixtureLandmark of the fixture's.
	Landmark, FixtureLandmark Learned
	// Findings is how often the entrance of each head was found, by the side that was found the
	// least often; heads without findings are not in it.
	Findings map[string]int
	Slips    []Slip
}

// Stepped is r as an analysis takes it: with the error of one reading, and what differs between readers
// of the fixture and of listeners, in the steps that the placements were estimated with, so that a
// placement more leaves what is estimated of the others untouched (but where a step is crossed).
func (r Result) Stepped(stated study.ReadingUncertainty) Result {
	r.One.MM = stats.Stepped(r.One.MM, stated.OneMM)
	r.ApartMM = biasStep(r.ApartMM)
	return r
}

// Slip is a reading so far from the others of its placement that it hardly counts.
type Slip struct {
	study.ReadingRow
	MM float64 `json:"off_mm"` // from the others
}

// Uncertainty returns the values of [reading], landmarks as of one finding: what is stated, with
// what the readings show in place of it. What readers of the fixture have not in common with
// those of the listeners is the same in all differences of the two, as the fixture's
// landmark is, and counts with that.
func (r Result) Uncertainty(stated study.ReadingUncertainty) study.ReadingUncertainty {
	if r.One.DF > StatedDF {
		stated = Carry(stated, r.One.MM)
	}
	for _, f := range []struct {
		to *float64
		l  Learned
	}{{&stated.OneMM, r.One}, {&stated.LandmarkMM, r.Landmark}, {&stated.FixtureLandmarkMM, r.FixtureLandmark}} {
		if f.l.DF > StatedDF {
			*f.to = f.l.MM
		}
	}
	stated.FixtureLandmarkMM = math.Hypot(stated.FixtureLandmarkMM, r.ApartMM)
	return stated
}

// Ratios from which worse readings speak of the landmarks at all, and whole (our choice, no source).
const (
	carryFrom  = 1.1
	carryWhole = 1.5
)

// Carry returns what a lab states when its single readings turn out to err by oneMM.
// A lab that takes its readings for better than they are takes the landmarks for better
// as well, and what it states of the fixture's nothing checks: landmarks are taken to be
// as many times worse. That readings are better than stated says nothing of landmarks.
// A tenth more is what rounding to half a millimetre, turns of the headband and chance make of
// readings as good as stated, and carries nothing; from carryWhole on the ratio carries whole, in between
// a part of it. OneMM stays as stated.
func Carry(stated study.ReadingUncertainty, oneMM float64) study.ReadingUncertainty {
	if stated.OneMM > 0 {
		ratio := oneMM / stated.OneMM
		worse := math.Max(1, math.Min(ratio, 1+(ratio-carryFrom)*(carryWhole-1)/(carryWhole-carryFrom)))
		stated.LandmarkMM *= worse
		stated.FixtureLandmarkMM *= worse
	}
	return stated
}
