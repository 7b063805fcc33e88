package simulate

import (
	"math"

	"asworn/capture/band"
)

// Grid is a set of frequencies. Sound waves are summed on the coarse uniform
// part, k·StepHz for k < Coarse, because the phase of a wave then advances by
// a constant factor; Hz are the frequencies asked for.
type Grid struct {
	Hz     []float64
	StepHz float64
	Coarse int
}

// CoarseStepHz is fine enough for sound that has left the cup after about 4 ms.
const CoarseStepHz = 48000.0 / 1024

// UniformGrid holds k·stepHz up to and including topHz.
func UniformGrid(stepHz, topHz float64) *Grid {
	n := int(topHz/stepHz+1e-9) + 1
	g := &Grid{Hz: make([]float64, n), StepHz: CoarseStepHz, Coarse: int(topHz/CoarseStepHz) + 3}
	for i := range g.Hz {
		g.Hz[i] = float64(i) * stepHz
	}
	return g
}

// Interpolate carries values from the coarse part to the frequencies asked for.
func (g *Grid) Interpolate(coarse []complex128, out []complex128) {
	for i, f := range g.Hz {
		x := f / g.StepHz
		k := int(x)
		if k >= len(coarse)-1 {
			k = len(coarse) - 2
		}
		t := complex(x-float64(k), 0)
		out[i] = coarse[k]*(1-t) + coarse[k+1]*t
	}
}

// BandGrid serves power averages over the kept bands: a narrow band is taken
// at its middle, a wide one at every multiple of the coarse step within it.
type BandGrid struct {
	Grid
	from, to []int // Hz[from:to] belong to a band
}

// NewBandGrid returns the grid of the kept 1/24-octave bands.
func NewBandGrid() *BandGrid {
	g := &BandGrid{}
	g.StepHz = CoarseStepHz
	for _, b := range band.All() {
		g.from = append(g.from, len(g.Hz))
		first, last := math.Ceil(b.Lower/CoarseStepHz), math.Ceil(b.Upper/CoarseStepHz)
		if last-first < 2 {
			g.Hz = append(g.Hz, b.Mid)
		} else {
			for k := first; k < last; k++ {
				g.Hz = append(g.Hz, k*CoarseStepHz)
			}
		}
		g.to = append(g.to, len(g.Hz))
		g.Coarse = int(b.Upper/CoarseStepHz) + 3
	}
	return g
}

// LevelDB returns the power average of h within each kept band, in dB.
func (g *BandGrid) LevelDB(h []complex128) []float64 {
	out := make([]float64, len(g.from))
	for i := range out {
		sum := 0.0
		for _, v := range h[g.from[i]:g.to[i]] {
			sum += real(v)*real(v) + imag(v)*imag(v)
		}
		out[i] = 10 * math.Log10(sum/float64(g.to[i]-g.from[i])+1e-30)
	}
	return out
}

// LevelDB is that of a ratio p, in dB; -Inf for 0.
func LevelDB(p complex128) float64 {
	return 10 * math.Log10(real(p)*real(p)+imag(p)*imag(p))
}
