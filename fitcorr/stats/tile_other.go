//go:build !amd64

package stats

const tiled = false

func tile(n int, a *float64, strideA int, b *float64, strideB int, c *float64, strideC int) {
	panic("stats: tile is not for this processor")
}
