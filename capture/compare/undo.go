package compare

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
)

// squeeze is a compressor or a limiter: of each decibel that a sweep is recorded above a
// threshold it leaves one part in ratio, on both channels alike and whatever the
// frequency. The threshold is so many decibels under the highest level of both as
// recorded, behind it. What it takes it gives back slowly: all but 1/e while a sweep rises by
// so many octaves.
type squeeze struct{ underDB, ratio, release float64 }

// squeezes are tried. A slope of 10:1 stands for all steeper ones. In a sweep of ten octaves
// in 3 s a release of 50 ms is 0.17 octaves, in one of 10 s 500 ms are 0.5.
var squeezes = func() (out []squeeze) {
	limiters, compressors := []float64{0.15, 0.2, 0.25, 0.3, 0.35, 0.45, 0.6, 0.8, 1.2}, []float64{12, 8, 5, 3.5, 2}
	for _, release := range []float64{0, 0.2, 0.6, 1.8} {
		for _, under := range limiters {
			out = append(out, squeeze{under, 10, release})
		}
		for _, under := range compressors {
			out = append(out, squeeze{under, 2, release})
		}
	}
	return out
}()

// undone is what each of the squeezes has taken from one ear of a recording.
type undone struct {
	taken *mat.Dense // thirds that count × squeezes, dB
	slope []float64  // logarithm of the derivative of the levels before by those behind, of these thirds
}

// undo undoes each squeeze of a recording, per ear in some thirds.
func (t Traits) undo(at [2][]int) (out [2]undone) {
	const each = band.PerThird
	high := math.Inf(-1) // the highest recorded level of both ears
	var highest, count [2][band.Thirds]float64
	for e, l := range t.RecordedDB {
		for b := range band.Thirds {
			highest[e][b] = math.Inf(-1)
			for _, v := range l[b*each : (b+1)*each] {
				if !math.IsNaN(v) {
					highest[e][b] = max(highest[e][b], v)
					count[e][b]++
				}
			}
			high = max(high, highest[e][b])
		}
	}
	taken, slope := make([]float64, band.Thirds), make([]float64, band.Thirds)
	for e, l := range t.RecordedDB {
		if len(at[e]) == 0 {
			continue
		}
		out[e] = undone{mat.NewDense(len(at[e]), len(squeezes), nil), make([]float64, len(squeezes))}
		for k, s := range squeezes {
			s.undo(taken, slope, l, high-s.underDB, highest[e][:], count[e][:])
			for i, b := range at[e] {
				out[e].taken.Set(i, k, taken[b])
				out[e].slope[k] += slope[b]
			}
		}
	}
	return out
}

// undo sets taken to what a squeeze of an ear from a level on has taken from each third octave,
// in dB, and slope to the logarithm of the derivative of the level before it by that behind it. Of
// the recorded levels, per kept band, highest and count are each third's highest and how many count.
func (s squeeze) undo(taken, slope, recorded []float64, from float64, highest, count []float64) {
	keep, held := 0.0, 0.0 // from one band to the next, dB
	if s.release > 0 {
		keep = math.Exp(-1 / (s.release * band.Fraction))
	}
	for b := range taken {
		taken[b], slope[b] = 0, 0
		if keep == 0 {
			held = 0
		}
		if held == 0 && highest[b] <= from {
			continue
		}
		sum, acts := 0.0, 0.0
		for _, v := range recorded[b*band.PerThird : (b+1)*band.PerThird] {
			held *= keep
			if now := (s.ratio - 1) * (v - from); now > held { // not where it is NaN
				held = now
				acts++
			}
			if !math.IsNaN(v) {
				sum += held
			}
		}
		if sum > 0 {
			taken[b], slope[b] = sum/count[b], math.Log1p((s.ratio-1)*acts/count[b])
		}
	}
}

// likelihood is the logarithm of the density of a difference whose quadratic form is q,
// less a constant.
func (m metric) likelihood(q float64) float64 {
	n := float64(len(m.at))
	return -(freedom + n) / 2 * math.Log1p(q/freedom)
}

// squeezed undoes each squeeze: where there was one, what is left is a recording like the
// others. Its score is that of a normal deviate with the same ratio of likelihoods.
func (c *instance) squeezed(whole [2]metric, own *member) {
	ratio := make([]float64, len(squeezes)) // logarithm, of likelihoods
	as := 0.0                               // the same as it was recorded
	for e, m := range whole {
		if !c.ok[e] {
			continue
		}
		as += m.likelihood(mat.Dot(m.d, m.weighed))
		white := mat.DenseCopyOf(own.undone[e].taken)
		for i := range m.at {
			floats.AddConst(m.d.AtVec(i), white.RawRowView(i))
		}
		for k, q := range squares(&m.chol, white) {
			ratio[k] += m.likelihood(q) + own.undone[e].slope[k]
		}
	}
	best, found := 0.0, -1
	for k, v := range ratio {
		if v-as > best {
			best, found = v-as, k
		}
	}
	a := account{cause: compressed, score: math.Sqrt(2 * best)}
	var of [2]change
	if found >= 0 {
		a.size = 1 - 1/squeezes[found].ratio
		for e := range of {
			if c.ok[e] {
				taken := make([]float64, band.Thirds)
				for i, b := range whole[e].at {
					taken[b] = -1 / a.size * own.undone[e].taken.At(i, found)
				}
				of[e].v = c.m[e].vector(taken)
			}
		}
	}
	c.add(a, of)
}
