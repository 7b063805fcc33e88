package compare

import (
	"math"

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

// highest is the highest recorded level of both ears, −Inf where none counts.
func (t Traits) highest() float64 {
	high := math.Inf(-1)
	for _, l := range t.RecordedDB {
		for _, v := range l {
			if v > high { // not where it is NaN
				high = v
			}
		}
	}
	return high
}

// undone is what a squeeze of an ear from a level on has taken from each third octave,
// in dB, and the logarithm of the derivative of the level before it by that behind it.
func (s squeeze) undone(recorded []float64, from float64) (taken, slope []float64) {
	taken, slope = make([]float64, band.Thirds), make([]float64, band.Thirds)
	keep, held := 0.0, 0.0 // from one band to the next, dB
	if s.release > 0 {
		keep = math.Exp(-1 / (s.release * band.Fraction))
	}
	for b := range taken {
		sum, acts, n := 0.0, 0.0, 0.0
		for _, v := range recorded[b*band.PerThird : (b+1)*band.PerThird] {
			held *= keep
			if now := (s.ratio - 1) * (v - from); now > held { // not where it is NaN
				held = now
				acts++
			}
			if !math.IsNaN(v) {
				sum += held
				n++
			}
		}
		if sum > 0 {
			taken[b], slope[b] = sum/n, math.Log1p((s.ratio-1)*acts/n)
		}
	}
	return taken, slope
}

// likelihood is the logarithm of the density of a difference whose quadratic form is q,
// less a constant.
func (m metric) likelihood(q float64) float64 {
	n := float64(len(m.at))
	return -(freedom + n) / 2 * math.Log1p(q/freedom)
}

// squeezed undoes each squeeze: where there was one, what is left is a recording like the
// others. Its score is that of a normal deviate with the same ratio of likelihoods.
func (c *instance) squeezed(whole [2]metric, own Traits) {
	high, best, found := own.highest(), 0.0, squeeze{ratio: 1}
	as := 0.0 // likelihood as it was recorded
	for e, m := range whole {
		if c.ok[e] {
			as += m.likelihood(mat.Dot(m.d, m.weighed))
		}
	}
	for _, s := range squeezes {
		ratio := -as
		for e, m := range whole {
			if !c.ok[e] {
				continue
			}
			taken, slope := s.undone(own.RecordedDB[e], high-s.underDB)
			d := m.vector(taken)
			d.AddVec(d, m.d)
			ratio += m.likelihood(quadratic(&m.chol, d))
			for _, b := range m.at {
				ratio += slope[b]
			}
		}
		if ratio > best {
			best, found = ratio, s
		}
	}
	a := account{cause: compressed, size: 1 - 1/found.ratio, score: math.Sqrt(2 * best)}
	var change [2]*mat.VecDense
	for e := range change {
		if c.ok[e] && best > 0 {
			taken, _ := found.undone(own.RecordedDB[e], high-found.underDB)
			change[e] = c.m[e].vector(taken)
			change[e].ScaleVec(-1/a.size, change[e])
		}
	}
	c.add(a, change)
}
