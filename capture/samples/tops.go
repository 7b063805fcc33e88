package samples

import "math"

// ClippedRuns counts the places where the signal stays at its own peak, within
// one 16-bit step, for clipRun samples or more, when that peak is full scale.
func ClippedRuns(x []float64, e Extremes, peak float64) int {
	if peak < ClipLevel {
		return 0
	}
	limit := peak - 1.0/32768
	runs, length, next := 0, 0, 0
	for at, block := range e.reaching(x, limit, -limit) {
		if at != next {
			length = 0
		}
		next = at + len(block)
		for _, v := range block {
			if math.Abs(v) < limit {
				length = 0
				continue
			}
			if length++; length == clipRun {
				runs++
			}
		}
	}
	return runs
}

// TopZone counts the samples near the highest.
type TopZone struct {
	Peak      float64
	At, below int // samples within a zone of the peak, and in twice that zone below it
}

// Ratio is the density of samples at the top over that below. Below a smooth
// maximum of height 1 the time spent above 1−δ goes with √δ, so that it is
// 1/(√3−1) = 1.37 at most; a flat top has no bound.
func (z TopZone) Ratio() float64 { return float64(z.At) / math.Max(float64(z.below), 1) }

// FlatTops counts the tops and the bottoms of a signal; zone is relative to the peak. x
// holds samples, e is ExtremesOf it; zone is a ratio, 0 to 1.
func FlatTops(x []float64, e Extremes, zone float64) [2]TopZone {
	var up, down TopZone
	up.Peak, down.Peak = e.Peaks()
	high, middle := up.Peak*(1-zone), up.Peak*(1-3*zone)
	low, lower := -down.Peak*(1-3*zone), -down.Peak*(1-zone)
	for _, block := range e.reaching(x, middle, low) {
		for _, v := range block {
			switch {
			case v >= middle && up.Peak > 0:
				if v >= high {
					up.At++
				} else {
					up.below++
				}
			case v <= low && down.Peak > 0:
				if v <= lower {
					down.At++
				} else {
					down.below++
				}
			}
		}
	}
	return [2]TopZone{up, down}
}

// InterSamplePeak returns the highest magnitude of the band-limited signal
// between the samples about those that come near full scale, by a windowed
// sinc (as ITU-R BS.1770 estimates true peaks, with more positions).
func InterSamplePeak(x []float64, e Extremes) float64 {
	kernels := peakKernels()
	top := 0.0
	for at, block := range e.reaching(x, InterFrom, -InterFrom) {
		for i := max(at, peakTaps); i < min(at+len(block), len(x)-peakTaps); i++ {
			a := math.Abs(x[i])
			top = max(top, a)
			if a < InterFrom || a < math.Abs(x[i-1]) || a < math.Abs(x[i+1]) {
				continue
			}
			near := (*[2*peakTaps + 1]float64)(x[i-peakTaps:])
			for k := range kernels {
				sum := 0.0
				for j, w := range kernels[k] {
					sum += w * near[j]
				}
				top = max(top, math.Abs(sum))
			}
		}
	}
	return top
}

// peakKernels returns the weights of the samples about a place between two, for
// every position but that of the sample itself.
func peakKernels() (out [2*peakPositions - 2][2*peakTaps + 1]float64) {
	k := 0
	for p := -peakPositions + 1; p < peakPositions; p++ {
		if p == 0 {
			continue
		}
		for j := range out[k] {
			d := float64(j-peakTaps) - float64(p)/peakPositions/2
			out[k][j] = (0.5 + 0.5*math.Cos(math.Pi*d/(peakTaps+1))) * math.Sin(math.Pi*d) / (math.Pi * d)
		}
		k++
	}
	return out
}

// Limits of clipped and flat tops. Common practice, no source.
const (
	ClipLevel     = 0.9999 // of full scale, a ratio: one 16-bit step below it counts
	clipRun       = 3      // samples in a row
	FlatZone      = 0.005  // of the peak, a ratio: how flat a flat top is
	InterFrom     = 0.7    // of full scale, a ratio: from where peaks between samples are looked for
	peakPositions = 8      // between two samples
	peakTaps      = 8      // on each side
)
