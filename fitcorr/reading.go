package fitcorr

import (
	"gonum.org/v1/gonum/mat"

	"asworn/capture"
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

// readDim is the number of axes that are read: forward and up.
const readDim = 2

// readPositions names them among what told ears from positions (Worn.Separation).
const readPositions = "read positions"

// readTurnMM is what a reading errs by per axis, the same for all readings of a
// model, because people turn a headband otherwise than the fixture's mark does:
// 2° or 3° at a point 10 mm from the cup's middle.
const readTurnMM = 0.3

// Weights of what a lab states against what its readings show, and the fewest
// readings on the fixture that give a mark.
const (
	readOneWeight      = 20.0 // readings
	readLandmarkWeight = 8.0  // listeners
	readFewest         = 3
	readGross          = 5.0 // standard deviations: a slip of the pen
	readWithinMM       = 1.5 // usual spread of one listener's positions
	readBetweenMM      = 3.0 // and of a panel's, landmarks included
)

// readingOr returns what a lab states of its readings, with the defaults of the
// study format where it states nothing.
func readingOr(r capture.ReadingUncertainty) capture.ReadingUncertainty {
	d := capture.DefaultStudy().Reading
	for _, f := range []struct{ to, or *float64 }{
		{&r.OneMM, &d.OneMM}, {&r.LandmarkMM, &d.LandmarkMM}, {&r.FixtureLandmarkMM, &d.FixtureLandmarkMM},
	} {
		if *f.to <= 0 {
			*f.to = *f.or
		}
	}
	return r
}

// FrozenMark is what readings on the fixture say: the reading at the marked
// position. The zero value says nothing.
type FrozenMark struct {
	At       [readDim]float64 `json:"at"`       // mm
	Variance [readDim]float64 `json:"variance"` // mm²
	One      float64          `json:"one"`      // standard deviation of one reading, mm
	Readings int              `json:"readings"`
}

func (m FrozenMark) known() bool { return m.One > 0 }

func readVector(s Seating) [readDim]float64 { return [readDim]float64{s.Read.ForwardMM, s.Read.UpMM} }

// readOf is a worn reading relative to the fixture's mark, nil without one.
func (m FrozenMark) readOf(s Seating) *[readDim]float64 {
	if !m.known() || s.Read == nil {
		return nil
	}
	r := readVector(s)
	for a := range r {
		r[a] -= m.At[a]
	}
	return &r
}

// readGap is a reading's difference from a position on the fixture with the
// variance that it should have, per axis.
func (m FrozenMark) readGap(s Seating, pos [headsetDim]float64, cov *mat.SymDense) (gap, variance [readDim]float64) {
	for a, r := range readVector(s) {
		gap[a] = r - m.At[a] - (pos[a]+pos[3+a])/2
		variance[a] = (cov.At(a, a)+cov.At(3+a, 3+a)+2*cov.At(a, 3+a))/4 + m.One*m.One + m.Variance[a]
	}
	return gap, variance
}

// fuse adds a reading on the fixture to a position: a Kalman step per axis of
// r = (left + right)/2 + e.
func (m FrozenMark) fuse(s Seating, pos *[headsetDim]float64, cov *mat.SymDense) {
	for a := range readDim {
		gap, variance := m.readGap(s, *pos, cov)
		var c [headsetDim]float64
		for i := range c {
			c[i] = (cov.At(i, a) + cov.At(i, 3+a)) / 2
		}
		for i := range c {
			pos[i] += c[i] / variance[a] * gap[a]
			for j := i; j < headsetDim; j++ {
				addSym(cov, i, j, -c[i]*c[j]/variance[a])
			}
		}
	}
}
