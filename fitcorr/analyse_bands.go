package fitcorr

import (
	"math"

	"asworn/capture/band"
)

// positionBands are the bands on which positions are estimated: kept bands
// joined by fours to 1/6 octave, from about 300 Hz, above the leak's range,
// to about 16 kHz, above which microphone placement rules.
type positionBands struct {
	first, n int
	hz       []float64 // mid frequencies
}

const (
	positionLowHz  = 300.0
	positionHighHz = 16000.0
	positionJoin   = 4
)

func newPositionBands() positionBands {
	all := band.All()
	var p positionBands
	for p.first < len(all) && all[p.first].Lower < positionLowHz {
		p.first++
	}
	for i := p.first; i+positionJoin <= len(all) && all[i+positionJoin-1].Upper < positionHighHz; i += positionJoin {
		p.hz = append(p.hz, math.Sqrt(all[i].Lower*all[i+positionJoin-1].Upper))
	}
	p.n = len(p.hz)
	return p
}

// kept returns the range of kept bands in position band r.
func (p positionBands) kept(r int) (lo, hi int) {
	lo = p.first + positionJoin*r
	return lo, lo + positionJoin
}

// octaves returns the distance of two position bands in octaves.
func (p positionBands) octaves(i, j int) float64 {
	return math.Abs(math.Log2(p.hz[i] / p.hz[j]))
}

// missingVar is the variance, dB², of a band that does not count.
const missingVar = 1e6

// join averages a curve over the position bands on the kept bands that count
// in both the curve and valid (nil: all). A band of which fewer than half
// count holds 0 with variance missingVar.
func (p positionBands) join(c Curve, valid []bool) (level, variance []float64) {
	level, variance = make([]float64, p.n), make([]float64, p.n)
	for r := range p.n {
		lo, hi := p.kept(r)
		var sum, vari, m float64
		for b := lo; b < hi && b < len(c.LevelDB); b++ {
			if c.counts(b) && (valid == nil || valid[b]) {
				sum += c.LevelDB[b]
				vari += c.StdErrDB[b] * c.StdErrDB[b]
				m++
			}
		}
		if 2*m < positionJoin {
			variance[r] = missingVar
			continue
		}
		level[r], variance[r] = sum/m, vari/(m*m)
	}
	return level, variance
}
