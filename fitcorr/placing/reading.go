package placing

import (
	"math"

	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
)

// Readings with a ruler. Levels cannot fully tell where a headphone sits on a person,
// since an ear of another shape changes them as a movement does; a ruler beside
// the ear can, though coarsely. A reading r of a seating at d (mean of both
// cups) on a head with landmark error b is r = o + b + d + e: o is where on the
// cup one reads, the same on all heads, b what is wrong with the canal's
// entrance as found on this head, the same in all its readings, e the error of
// one reading. The fixture's survey rows, whose d is known, give o + b of the
// fixture; a worn reading relative to that is d + b_s − b_fixture + e. In the
// panel's latent vector b_s − b_fixture is one more thing that a listener has.

// ReadTurnMM is what a reading errs by per axis, the same for all readings of a
// model, because people turn a headband otherwise than the fixture's mark does:
// 2° or 3° at a point 10 mm from the cup's middle.
const ReadTurnMM = 0.3

// Priors and limits of readings (our choice, no source).
const (
	ReadLandmarkWeight = 8.0 // as many listeners' landmarks as what a lab states of them is worth
	ReadFewest         = 3   // readings on the fixture, from which there is a mark
	ReadGross          = 5.0 // standard deviations: beyond, a slip of the pen
	ReadWithinMM       = 1.5 // usual standard deviation of one listener's positions, per axis
	ReadBetweenMM      = 3.0 // and of a panel's, landmarks included
)

// Mark is what readings on the fixture say: the reading at the marked
// position. The zero value says nothing.
type Mark struct {
	At       [ReadDim]float64 `json:"at"`       // mm
	Variance [ReadDim]float64 `json:"variance"` // mm²
	One      float64          `json:"one"`      // standard deviation of one reading, mm
	Readings int              `json:"readings"`
}

// Known reports whether there is a mark to hold readings against.
func (m Mark) Known() bool { return m.One > 0 }

// DF is the degrees of freedom with which the standard deviation of a reading is known:
// what a statement is worth, and the readings on the fixture that it was compared with.
func (m Mark) DF() float64 { return reading.StatedDF + float64(ReadDim*m.Readings) }

// ReadVector is the reading of a seating that has one: forward and up, mm. It panics of one
// that has none.
func ReadVector(s seat.Seating) [ReadDim]float64 {
	return [ReadDim]float64{s.Read.ForwardMM, s.Read.UpMM}
}

// ReadOf is a worn reading relative to the fixture's mark, mm; nil without a reading or a
// mark.
func (m Mark) ReadOf(s seat.Seating) *[ReadDim]float64 {
	if !m.Known() || s.Read == nil {
		return nil
	}
	r := ReadVector(s)
	for a := range r {
		r[a] -= m.At[a]
	}
	return &r
}

// PlaceRead is the position that was read at a seating on the fixture, mean of
// both cups from the marked position, mm, with its variance, mm².
func (m Mark) PlaceRead(s seat.Seating) (at, variance [ReadDim]float64) {
	for a, r := range ReadVector(s) {
		at[a] = r - m.At[a]
		variance[a] = m.One*m.One/s.Readings() + m.Variance[a]
	}
	return at, variance
}

// Gross is by how many mm the position read at a seating on the fixture lies
// from the marked one if no headphone sits there (a slip of the pen), else 0.
func (m Mark) Gross(s seat.Seating) float64 {
	at, variance := m.PlaceRead(s)
	_, cov := Normal{Weight: 1, Cov: FixturePrior().Cov}.plane()
	var gross float64
	for a := range at {
		if d := math.Abs(at[a]); d > ReadGross*math.Sqrt(cov[a][a]+variance[a]) {
			gross = math.Max(gross, d)
		}
	}
	return gross
}
