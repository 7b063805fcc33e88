package blas

import "golang.org/x/sys/cpu"

// vectors says whether the processor has what tile_amd64.s uses.
var vectors = cpu.X86.HasAVX

// tile adds to tileRows × tileCols values at c, whose rows are ldc apart, the sum over k
// of a's tileRows by b's tileCols values, one product after the other.
//
//go:noescape
func tile(k int, a, b, c *float64, ldc int)
