package samples

import (
	"iter"
	"math"
)

// Extremes are the highest and the lowest sample of each block of a channel.
// Several checks care for the few samples near the peaks only: one pass over
// all samples tells them which blocks to look at.
type Extremes struct {
	high, low []float64
	Bad       int // samples that are not finite
}

const extremesBlock = 256

// ExtremesOf goes through a channel; before is overwritten and may be empty. x holds
// samples, full scale 1; none gives no blocks.
func ExtremesOf(x []float64, before Extremes) Extremes {
	e := Extremes{high: before.high[:0], low: before.low[:0]}
	for len(x) > 0 {
		block := x[:min(extremesBlock, len(x))]
		x = x[len(block):]
		high, low, bad := extremesOf(block)
		e.high, e.low, e.Bad = append(e.high, high), append(e.low, low), e.Bad+bad
	}
	return e
}

// extremesAmong returns the highest and the lowest sample of a block, and how many are not
// finite. What is not a number counts for neither.
func extremesAmong(block []float64) (high, low float64, bad int) {
	high, low = math.Inf(-1), math.Inf(1)
	for _, v := range block {
		if v-v != 0 {
			bad++
		}
		if v > high {
			high = v
		}
		if v < low {
			low = v
		}
	}
	return high, low, bad
}

// Peaks returns how far the channel goes up and down from 0. Both are in sample values, 0
// or more, and 0 without a sample.
func (e Extremes) Peaks() (up, down float64) {
	for i, v := range e.high {
		up, down = math.Max(up, v), math.Max(down, -e.low[i])
	}
	return up, down
}

// reaching yields, with the index of their first sample, the blocks of x that
// have samples of at least high or at most low.
func (e Extremes) reaching(x []float64, high, low float64) iter.Seq2[int, []float64] {
	return func(yield func(int, []float64) bool) {
		for i, v := range e.high {
			if v < high && e.low[i] > low {
				continue
			}
			at := i * extremesBlock
			if !yield(at, x[at:min(at+extremesBlock, len(x))]) {
				return
			}
		}
	}
}
