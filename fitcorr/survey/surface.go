package survey

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// BandSurface is the survey of one ear on the position bands, for many
// displacements: what does not depend on the displacement is computed once.
type BandSurface struct {
	rows    [][3]float64
	zones   []bandZone
	weights [][]float64 // per position band: the mean over the kept bands that count, by rows
}

// bandZone is a Zone on the position bands.
type bandZone struct {
	from, to int // position bands
	kernel   Kernel
	inv      [][]float64 // A, rows × rows
	mark     []float64   // kernel between the marked position and each row
}

// On returns the survey on the position bands.
func (e *Ear) On(bands Bands) *BandSurface {
	s := &BandSurface{rows: e.At, weights: stats.RowsOf(mat.NewDense(bands.N, len(e.At), nil))}
	mark := e.AtMark()
	for zi, z := range e.Zones {
		bz := bandZone{kernel: z.Kernel, inv: z.Inv, mark: mark[zi], from: bands.N}
		for r := range bands.N {
			lo, hi := bands.Kept(r)
			if lo < z.From || lo >= z.To {
				continue
			}
			bz.from, bz.to = min(bz.from, r), r+1
			var count float64
			for b := lo; b < hi; b++ {
				if e.Valid[b] {
					count++
					for i, w := range e.Weights {
						s.weights[r][i] += w[b]
					}
				}
			}
			floats.Scale(1/max(count, 1), s.weights[r])
		}
		s.zones = append(s.zones, bz)
	}
	return s
}

// RowScatter returns what scatters about the surface, rows × position bands, dB: curves of which
// the mean square is the scatter's variance of the package comment, and the mean of products
// therefore its covariance over the bands, that of a matrix normal law. slip is that
// of FitEar. The surface takes a part of each row: per of them, 1 or more, are as good as one.
func (s *BandSurface) RowScatter(slip []float64) (rows *mat.Dense, per float64) {
	n := float64(len(s.rows))
	rows = mat.NewDense(len(s.rows), len(s.weights), nil)
	var left float64 // of all rows, summed over the zones
	for _, z := range s.zones {
		var trace float64
		for i, v := range slip {
			trace += z.inv[i][i] * v
		}
		left += trace
		for r := z.from; r < z.to; r++ {
			for i, v := range slip {
				rows.Set(i, r, s.weights[r][i]*math.Sqrt(v*n/trace))
			}
		}
	}
	return rows, n * float64(len(s.zones)) / left
}

// Level returns the level at d (mm, mm, degrees) relative to BaseDB, dB per position band; 0
// in a band of which nothing is known.
func (s *BandSurface) Level(d [3]float64) []float64 {
	level, dk := make([]float64, len(s.weights)), make([]float64, len(s.rows))
	for zi, z := range s.zones {
		if zi == 0 || z.kernel != s.zones[zi-1].kernel { // zones often agree
			for i := range s.rows {
				dk[i] = z.kernel.At(&d, &s.rows[i]) - z.mark[i]
			}
		}
		for r := z.from; r < z.to; r++ {
			level[r] = floats.Dot(dk, s.weights[r])
		}
	}
	return level
}

// At returns the level at d (mm, mm, degrees) relative to BaseDB, dB, the slope per axis, dB
// per mm, mm, degree, and the variance of the surface (not of the change) over that of the
// scatter; each per position band.
func (s *BandSurface) At(d [3]float64) (level []float64, slope [3][]float64, excess []float64) {
	level, excess = make([]float64, len(s.weights)), make([]float64, len(s.weights))
	for a := range slope {
		slope[a] = make([]float64, len(s.weights))
	}
	k, change := make([]float64, len(s.rows)), make([][4]float64, len(s.rows)) // of the kernel, and its gradient
	var rest float64                                                           // of the variance of the surface
	for zi, z := range s.zones {
		if zi == 0 || z.kernel != s.zones[zi-1].kernel {
			for i := range s.rows {
				c := &change[i]
				k[i], c[1], c[2], c[3] = z.kernel.grad(&d, &s.rows[i])
				c[0] = k[i] - z.mark[i]
			}
			rest = math.Max(z.kernel.At(&d, &d)-stats.QuadForm(z.inv, k), 0)
		}
		for r := z.from; r < z.to; r++ {
			var sum, forward, up, turn float64 // of the change and its gradient
			for i, v := range s.weights[r][:len(change)] {
				c := &change[i]
				sum += c[0] * v
				forward += c[1] * v
				up += c[2] * v
				turn += c[3] * v
			}
			level[r], excess[r] = sum, rest
			slope[0][r], slope[1][r], slope[2][r] = forward, up, turn
		}
	}
	return level, slope, excess
}
