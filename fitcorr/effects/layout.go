package effects

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// Layout says where in a listener's vector what stands (package comment). m counts
// models, k blocks: models, then the bare ears; e is the ear.
type Layout struct {
	Bands  survey.Bands
	Models int  // how many there are
	Bare   int  // places of the loudspeaker in bare-ear references: so many blocks more
	Read   bool // positions were read on heads: landmarks, and rows of readings
}

// Width is how many blocks there are, models and places of the loudspeaker.
func (l Layout) Width() int {
	return l.Models + l.Bare
}

// Block is how many entries a model's block has.
func (l Layout) Block() int {
	b := 2*l.Bands.N + 2*placing.HeadsetDim
	if l.Read {
		b += placing.ReadDim
	}
	return b
}

// Dim is how many entries a listener's vector has.
func (l Layout) Dim() int {
	return l.Models*l.Block() + l.Bare*2*l.Bands.N
}

// Start is the entry, from 0, at which block k begins.
func (l Layout) Start(k int) int {
	return min(k, l.Models)*l.Block() + max(0, k-l.Models)*2*l.Bands.N
}

// Channel is the entry, from 0, at which ear e of block k begins: Bands.N of them, dB.
func (l Layout) Channel(e, k int) int { return l.Start(k) + e*l.Bands.N }

// Position is the entry, from 0, at which the apparent headset position of model m
// begins: HeadsetDim of them, mm, mm, degrees, twice.
func (l Layout) Position(m int) int { return m*l.Block() + 2*l.Bands.N }

// Confounded is the entry, from 0, at which the part of that position begins that is a
// difference of ears: HeadsetDim of them.
func (l Layout) Confounded(m int) int { return l.Position(m) + placing.HeadsetDim }

// Landmark is the entry, from 0, at which the error of the landmark on that head begins:
// ReadDim of them, mm. There is none without readings.
func (l Layout) Landmark(m int) int { return l.Confounded(m) + placing.HeadsetDim }

// Values numbers the values that stand in a listener's vector, by entry: the error of a
// landmark is one value in all models, all else has its own. count is how many there are.
func (l Layout) Values() (index []int, count int) {
	index = make([]int, l.Dim())
	for i := range index {
		index[i] = count
		count++
		if m := i / l.Block(); l.Read && m > 0 && m < l.Models && i >= l.Landmark(m) {
			index[i] = index[l.Landmark(0)+i-l.Landmark(m)]
			count--
		}
	}
	return index, count
}

// smallColumns is how many columns of a root are not of ears: positions, what
// looks like one, and the landmark.
func (l Layout) smallColumns() int {
	c := placing.HeadsetDim * (2*l.Models + 1)
	if l.Read {
		c += placing.ReadDim
	}
	return c
}

// FillPosition sets the columns of a root that move the position of model m. out is Dim
// rows, root is HeadsetDim square, mm and degrees; col is the first of HeadsetDim
// columns.
func (l Layout) FillPosition(out *mat.Dense, m, col int, root *mat.Dense) {
	for i := range placing.HeadsetDim {
		for j := range placing.HeadsetDim {
			out.Set(l.Position(m)+i, col+j, root.At(i, j))
		}
	}
}

// FillConfounded sets the columns of what looks like a movement and is not: a part that
// all models share, and one of each model's own. scale is a factor on the standard
// deviations. cov is HeadsetDim square, mm and degrees; col is the first of
// HeadsetDim·(models + 1) columns.
func (l Layout) FillConfounded(out *mat.Dense, cov *mat.SymDense, scale float64, col int) {
	root := stats.CholeskyRoot(cov)
	root.Scale(scale, root)
	for m := range l.Models {
		own := col + placing.HeadsetDim*(m+1)
		for i := range placing.HeadsetDim {
			for j := range placing.HeadsetDim {
				v, w := root.At(i, j), math.Sqrt(ConfoundedOwn)*root.At(i, j)
				out.Set(l.Position(m)+i, col+j, v)
				out.Set(l.Confounded(m)+i, col+j, v)
				out.Set(l.Position(m)+i, own+j, w)
				out.Set(l.Confounded(m)+i, own+j, w)
			}
		}
	}
}

// FillLandmark sets the columns of a landmark's error, the same in all models. sd is in
// mm; col is the first of ReadDim columns.
func (l Layout) FillLandmark(out *mat.Dense, col int, sd float64) {
	for m := range l.Models {
		for a := range placing.ReadDim {
			out.Set(l.Landmark(m)+a, col+a, sd)
		}
	}
}
