package survey

import (
	"math"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
)

// Bands are the bands on which positions are estimated: kept bands
// joined by fours to 1/6 octave, from about 300 Hz, above the leak's range,
// to about 16 kHz, above which microphone placement rules.
type Bands struct {
	First, N int       // the lowest kept band, and how many position bands there are
	Hz       []float64 // mid frequencies, N
	LeakTail []float64 // what is left of a leak's loss above its range, re that at LowHz: (LowHz/Hz)², N
}

const (
	LowHz  = 300.0   // Hz: the leak's range lies below
	HighHz = 16000.0 // Hz: above, the place of the microphone rules
	joined = 4
)

// NewBands returns the bands; they are always the same.
func NewBands() Bands {
	all := band.All()
	var p Bands
	for p.First < len(all) && all[p.First].Lower < LowHz {
		p.First++
	}
	for i := p.First; i+joined <= len(all) && all[i+joined-1].Upper < HighHz; i += joined {
		p.Hz = append(p.Hz, math.Sqrt(all[i].Lower*all[i+joined-1].Upper))
	}
	for _, hz := range p.Hz {
		p.LeakTail = append(p.LeakTail, math.Pow(LowHz/hz, 2))
	}
	p.N = len(p.Hz)
	return p
}

// Kept returns the range of kept bands in position band r, from lo to hi − 1.
func (p Bands) Kept(r int) (lo, hi int) {
	lo = p.First + joined*r
	return lo, lo + joined
}

// Octaves returns the distance of two position bands in octaves.
func (p Bands) Octaves(i, j int) float64 {
	return math.Abs(math.Log2(p.Hz[i] / p.Hz[j]))
}

// MissingVar is the variance, dB², of a band that does not count.
const MissingVar = 1e6

// Join averages a curve over the position bands on the kept bands that count
// in both the curve and valid (nil: all): dB, and dB² of its noise. A band of which fewer
// than half count holds 0 with variance MissingVar.
func (p Bands) Join(c seat.Curve, valid []bool) (level, variance []float64) {
	level, variance = make([]float64, p.N), make([]float64, p.N)
	for r := range p.N {
		lo, hi := p.Kept(r)
		var sum, vari, m float64
		for b := lo; b < hi && b < len(c.LevelDB); b++ {
			if c.Counts(b) && (valid == nil || valid[b]) {
				sum += c.LevelDB[b]
				vari += c.StdErrDB[b] * c.StdErrDB[b]
				m++
			}
		}
		if 2*m < joined {
			variance[r] = MissingVar
			continue
		}
		level[r], variance[r] = sum/m, vari/(m*m)
	}
	return level, variance
}

// EarLevelHz is the frequency in Hz up to which an ear differs from another by a
// level alone: the ear is small against the wavelength, and its volume is part
// of the cup's.
const EarLevelHz = 1200.0

// WithoutLevel refers a curve (dB, N) to its mean level below EarLevelHz, since the
// level of a seating is free. Bands of a variance of MissingVar count as
// missing and become 0; a nil variance has none.
func (b Bands) WithoutLevel(level, variance []float64) []float64 {
	missing := func(r int) bool { return variance != nil && variance[r] >= MissingVar }
	var sum, count float64
	for r, v := range level {
		if b.Hz[r] < EarLevelHz && !missing(r) {
			sum += v
			count++
		}
	}
	out := append([]float64(nil), level...)
	if count == 0 {
		return out
	}
	for r := range out {
		out[r] -= sum / count
		if missing(r) {
			out[r] = 0
		}
	}
	return out
}
