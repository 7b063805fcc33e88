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
	weights *mat.Dense // position bands × rows: the mean over the kept bands that count
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
	s := &BandSurface{rows: e.At, weights: mat.NewDense(bands.N, len(e.At), nil)}
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
			weights := s.weights.RawRowView(r)
			for b := lo; b < hi; b++ {
				if e.Valid[b] {
					count++
					for i, w := range e.Weights {
						weights[i] += w[b]
					}
				}
			}
			floats.Scale(1/max(count, 1), weights)
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
	bands, _ := s.weights.Dims()
	rows = mat.NewDense(len(s.rows), bands, nil)
	var left float64 // of all rows, summed over the zones
	for _, z := range s.zones {
		var trace float64
		for i, v := range slip {
			trace += z.inv[i][i] * v
		}
		left += trace
		for r := z.from; r < z.to; r++ {
			for i, v := range slip {
				rows.Set(i, r, s.weights.At(r, i)*math.Sqrt(v*n/trace))
			}
		}
	}
	return rows, n * float64(len(s.zones)) / left
}

// Shift is displacements about one and another row of a survey. What a kernel's last term makes of
// them goes by how far the two lie apart, and is kept.
type Shift struct {
	By   [][3]float64 // mm, mm, degrees
	free map[apart][]float64
	// Work space: what Levels returns, the change of the kernel, rows × displacements, and the displacements.
	level, change mat.Dense
	at            [][3]float64
}

// apart is a displacement less a row's, with what the last term of a kernel goes by.
type apart struct {
	at                 [3]float64
	lengthMM, mmPerDeg float64
}

// of is the last term of a kernel at each displacement, over its amplitude.
func (s *Shift) of(k *Kernel, from [3]float64) []float64 {
	key := apart{from, k.LengthMM, k.MMPerDeg}
	out, ok := s.free[key]
	if !ok {
		out = make([]float64, 0, len(s.By))
		one := Kernel{Amplitude: 1, LengthMM: k.LengthMM, MMPerDeg: k.MMPerDeg}
		for _, by := range s.By {
			_, dist := one.products(&[3]float64{from[0] + by[0], from[1] + by[1], from[2] + by[2]}, new([3]float64))
			out = append(out, one.free(dist))
		}
		if s.free == nil {
			s.free = map[apart][]float64{}
		}
		s.free[key] = out
	}
	return out
}

// Levels returns the level at each displacement of a shift about d (mm, mm, degrees) relative to BaseDB,
// dB, position bands × displacements; 0 in a band of which nothing is known. The shift keeps it until
// the next call.
func (s *BandSurface) Levels(d [3]float64, shift *Shift) *mat.Dense {
	bands, rows := s.weights.Dims()
	points, out, change := len(shift.By), &shift.level, &shift.change
	out.Reset()
	out.ReuseAs(bands, points)
	change.Reset()
	change.ReuseAs(rows, points)
	shift.at = shift.at[:0]
	for _, by := range shift.By {
		shift.at = append(shift.at, [3]float64{d[0] + by[0], d[1] + by[1], d[2] + by[2]})
	}
	for zi, z := range s.zones {
		if z.from >= z.to {
			continue
		}
		if zi == 0 || z.kernel != s.zones[zi-1].kernel { // zones often agree
			for i, row := range s.rows {
				var free []float64
				if z.kernel.Amplitude > 0 {
					free = shift.of(&z.kernel, [3]float64{d[0] - row[0], d[1] - row[1], d[2] - row[2]})
				}
				to := change.RawRowView(i)
				for p := range shift.at {
					dot, _ := z.kernel.products(&shift.at[p], &row)
					to[p] = kernelConstant - z.mark[i] + z.kernel.Linear*dot + z.kernel.Quadratic*dot*dot
				}
				if free != nil {
					floats.AddScaled(to, z.kernel.Amplitude, free)
				}
			}
		}
		stats.Multiply(out.Slice(z.from, z.to, 0, points).(*mat.Dense), s.weights.Slice(z.from, z.to, 0, rows).(*mat.Dense), change)
	}
	return out
}

// Grid is displacements (mm, mm, degrees) on which surfaces are laid out. What a kernel makes of a
// row is kept: surveys that hold the same rows ask for it again.
type Grid struct {
	At   [][3]float64
	rows map[gridRow][2][]float64
}

type gridRow struct {
	kernel Kernel
	at     [3]float64
}

// of is the kernel between each displacement and a row, and its gradient per degree.
func (g *Grid) of(k Kernel, row [3]float64) (v, turn []float64) {
	key := gridRow{k, row}
	known, ok := g.rows[key]
	if !ok {
		known = [2][]float64{make([]float64, len(g.At)), make([]float64, len(g.At))}
		for p := range g.At {
			known[0][p], _, _, known[1][p] = k.grad(&g.At[p], &row)
		}
		if g.rows == nil {
			g.rows = map[gridRow][2][]float64{}
		}
		g.rows[key] = known
	}
	return known[0], known[1]
}

// Over returns the level on a grid, as At does, and its slope per degree of rotation, dB;
// position bands × displacements each.
func (s *BandSurface) Over(g *Grid) (level, turn *mat.Dense) {
	bands, rows := s.weights.Dims()
	points := len(g.At)
	level, turn = mat.NewDense(bands, points, nil), mat.NewDense(bands, points, nil)
	change, turned := mat.NewDense(rows, points, nil), mat.NewDense(rows, points, nil)
	for zi, z := range s.zones {
		if z.from >= z.to {
			continue
		}
		if zi == 0 || z.kernel != s.zones[zi-1].kernel {
			for i := range rows {
				v, t := g.of(z.kernel, s.rows[i])
				copy(turned.RawRowView(i), t)
				k := change.RawRowView(i)
				copy(k, v)
				floats.AddConst(-z.mark[i], k)
			}
		}
		weights := s.weights.Slice(z.from, z.to, 0, rows).(*mat.Dense)
		stats.Multiply(level.Slice(z.from, z.to, 0, points).(*mat.Dense), weights, change)
		stats.Multiply(turn.Slice(z.from, z.to, 0, points).(*mat.Dense), weights, turned)
	}
	return level, turn
}

// At returns the level at d (mm, mm, degrees) relative to BaseDB, dB, the slope per axis, dB
// per mm, mm, degree, and the variance of the surface (not of the change) over that of the
// scatter; each per position band.
func (s *BandSurface) At(d [3]float64) (level []float64, slope [3][]float64, excess []float64) {
	bands, _ := s.weights.Dims()
	level, excess = make([]float64, bands), make([]float64, bands)
	for a := range slope {
		slope[a] = make([]float64, bands)
	}
	s.Set(level, slope, excess, d, new(Work))
	return level, slope, excess
}

// Work is memory that Set works in.
type Work struct {
	k      []float64    // the kernel, per row
	change [][4]float64 // its change from the marked position and its gradient, per row
}

// Set sets level, slope and excess to At.
func (s *BandSurface) Set(level []float64, slope [3][]float64, excess []float64, d [3]float64, work *Work) {
	if len(work.k) != len(s.rows) {
		work.k, work.change = make([]float64, len(s.rows)), make([][4]float64, len(s.rows))
	}
	k, change := work.k, work.change
	var rest float64 // of the variance of the surface
	clear(level)
	clear(excess)
	for a := range slope {
		clear(slope[a])
	}
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
			for i, v := range s.weights.RawRowView(r)[:len(change)] {
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
}
