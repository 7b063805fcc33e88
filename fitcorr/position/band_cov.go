package position

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// smoothWorth is how many draws the smooth covariance counts as against the draws' own (our
// choice, no source; from 8 to 20 make no difference that shows).
const smoothWorth = 15.0

// BandCov is a covariance over the position bands: that of the curves themselves, shrunk
// toward a smooth one. What scatters from seating to seating, a cushion's thickness or a lean
// of the cup, moves all bands at once by a shape of its own; told from few curves, it is what sets
// such a change apart from a displacement.
type BandCov struct {
	Smooth SmoothCov   `json:"smooth"`
	Own    [][]float64 `json:"own,omitempty"` // dB², second moments of the curves without gain and leak tail, position bands square
	Weight float64     `json:"weight"`        // of Own, 0 to 1; Smooth has the rest
}

// Matrix is the covariance over the position bands, bands.N square, dB². It panics of the
// zero value.
func (c BandCov) Matrix(bands survey.Bands) *mat.SymDense {
	m := c.Smooth.Matrix(bands)
	if c.Weight == 0 {
		return m
	}
	for i := range bands.N {
		for j := i; j < bands.N; j++ {
			m.SetSym(i, j, (1-c.Weight)*m.At(i, j)+c.Weight*c.Own[i][j])
		}
	}
	return m
}

// draws are the second moments of curves over the position bands about zero.
type draws struct {
	count float64
	sum   *mat.SymDense // dB²
}

func newDraws(n int) *draws { return &draws{sum: mat.NewSymDense(n, nil)} }

// add adds a curve of which extra is the covariance, dB², that is not known of it (nil: none), with
// a weight of its square.
func (d *draws) add(curve []float64, extra *mat.SymDense, weight float64) {
	d.count++
	d.sum.SymRankOne(d.sum, weight, mat.NewVecDense(len(curve), curve))
	if extra != nil {
		sum, more := d.sum.RawSymmetric(), extra.RawSymmetric()
		for i := range len(curve) {
			floats.AddScaled(sum.Data[i*sum.Stride+i:i*sum.Stride+sum.N], weight, more.Data[i*more.Stride+i:i*more.Stride+more.N])
		}
	}
}

// shrunk is the covariance of the draws, each of which count as one independent one, shrunk toward
// a smooth one that counts as smoothWorth more.
func (d *draws) shrunk(smooth SmoothCov, bands survey.Bands, each float64) BandCov {
	if d.count == 0 {
		return BandCov{Smooth: smooth}
	}
	free := withoutNuisance(bands)
	own := stats.Product(stats.Product(free, mat.DenseCopyOf(d.sum)), free)
	own.Scale(1/d.count, own)
	worth := d.count / each
	return BandCov{Smooth: smooth, Own: stats.RowsOf(own), Weight: worth / (worth + smoothWorth)}
}

// withoutNuisance is the projection of a curve, bands.N square, that takes gain and leak tail off it
// (least squares). Both are free in every seating, and nothing tells scatter of their shapes from them.
func withoutNuisance(bands survey.Bands) *mat.Dense {
	shapes := mat.NewDense(bands.N, 2, nil)
	for b, tail := range bands.LeakTail {
		shapes.SetRow(b, []float64{1, tail})
	}
	var gram, inverse, fitted mat.Dense
	gram.Mul(shapes.T(), shapes)
	_ = inverse.Inverse(&gram) // the two shapes are not alike
	fitted.Product(shapes, &inverse, shapes.T())
	out := mat.NewDense(bands.N, bands.N, nil)
	for b := range bands.N {
		out.Set(b, b, 1)
	}
	out.Sub(out, &fitted)
	return out
}
