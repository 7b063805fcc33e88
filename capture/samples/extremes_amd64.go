package samples

import "golang.org/x/sys/cpu"

// extremesOf is extremesAmong, four samples at a time where the processor can and all
// are numbers.
func extremesOf(block []float64) (high, low float64, bad int) {
	if cpu.X86.HasAVX && len(block) == extremesBlock {
		if high, low, bad := extremesOfBlock((*[extremesBlock]float64)(block)); !bad && low-low == 0 && high-high == 0 {
			return high, low, 0
		}
	}
	return extremesAmong(block)
}

// extremesOfBlock returns the highest and the lowest sample of a block, and whether it
// holds one that is not a number.
//
//go:noescape
func extremesOfBlock(x *[extremesBlock]float64) (high, low float64, bad bool)
