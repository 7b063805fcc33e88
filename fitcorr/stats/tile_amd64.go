package stats

import "golang.org/x/sys/cpu"

// tiled says whether the processor has what tile uses.
var tiled = cpu.X86.HasAVX

// tile sets tileRows × tileColumns values of c to those of the product of as many rows of a,
// n long, and as many columns of b; n > 0. Strides are from row to row.
//
//go:noescape
func tile(n int, a *float64, strideA int, b *float64, strideB int, c *float64, strideC int)
