package position

import (
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// Read positions. Levels cannot fully tell where a headphone sits on a person,
// since an ear of another shape changes them as a movement does; a ruler beside
// the ear can, though coarsely. A reading r of a seating at d (mean of both
// cups) on a head with landmark error b is r = o + b + d + e: o is where on the
// cup one reads, the same on all heads, b what is wrong with the canal's
// entrance as found on this head, the same in all its readings, e the error of
// one reading. The fixture's survey rows, whose d is known, give o + b of the
// fixture; a worn reading relative to that is d + b_s − b_fixture + e. In the
// panel's latent vector b_s − b_fixture is one more thing that a listener has.

// ReadDim is the number of axes that are read: forward and up.
const ReadDim = 2

// ReadPositions names them among what told ears from positions (Worn.Separation).
const ReadPositions = "read positions"

// readTurnMM is what a reading errs by per axis, the same for all readings of a
// model, because people turn a headband otherwise than the fixture's mark does:
// 2° or 3° at a point 10 mm from the cup's middle.
const readTurnMM = 0.3

// Weights of what a lab states against what its readings show, and the fewest
// readings on the fixture that give a mark.
const (
	ReadOneWeight      = 20.0 // readings
	ReadLandmarkWeight = 8.0  // listeners
	readFewest         = 3
	ReadGross          = 5.0 // standard deviations: a slip of the pen
	readWithinMM       = 1.5 // usual spread of one listener's positions
	readBetweenMM      = 3.0 // and of a panel's, landmarks included
)

// Mark is what readings on the fixture say: the reading at the marked
// position. The zero value says nothing.
type Mark struct {
	At       [ReadDim]float64 `json:"at"`       // mm
	Variance [ReadDim]float64 `json:"variance"` // mm²
	One      float64          `json:"one"`      // standard deviation of one reading, mm
	Readings int              `json:"readings"`
}

func (m Mark) Known() bool { return m.One > 0 }

func readVector(s seat.Seating) [ReadDim]float64 {
	return [ReadDim]float64{s.Read.ForwardMM, s.Read.UpMM}
}

// ReadOf is a worn reading relative to the fixture's mark, nil without one.
func (m Mark) ReadOf(s seat.Seating) *[ReadDim]float64 {
	if !m.Known() || s.Read == nil {
		return nil
	}
	r := readVector(s)
	for a := range r {
		r[a] -= m.At[a]
	}
	return &r
}

// ReadGap is a reading's difference from a position on the fixture with the
// variance that it should have, per axis.
func (m Mark) ReadGap(s seat.Seating, pos [HeadsetDim]float64, cov *mat.SymDense) (gap, variance [ReadDim]float64) {
	for a, r := range readVector(s) {
		gap[a] = r - m.At[a] - (pos[a]+pos[3+a])/2
		variance[a] = (cov.At(a, a)+cov.At(3+a, 3+a)+2*cov.At(a, 3+a))/4 + m.One*m.One + m.Variance[a]
	}
	return gap, variance
}

// fuse adds a reading on the fixture to a position: a Kalman step per axis of
// r = (left + right)/2 + e.
func (m Mark) fuse(s seat.Seating, pos *[HeadsetDim]float64, cov *mat.SymDense) {
	for a := range ReadDim {
		gap, variance := m.ReadGap(s, *pos, cov)
		var c [HeadsetDim]float64
		for i := range c {
			c[i] = (cov.At(i, a) + cov.At(i, 3+a)) / 2
		}
		for i := range c {
			pos[i] += c[i] / variance[a] * gap[a]
			for j := i; j < HeadsetDim; j++ {
				stats.AddSym(cov, i, j, -c[i]*c[j]/variance[a])
			}
		}
	}
}
