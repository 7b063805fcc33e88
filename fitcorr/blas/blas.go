// Package blas is gonum's BLAS with one routine of its own, the product of two
// matrices, by the vector instructions of the processor: four values at a time
// instead of two, and kept in registers. Every product and sum is that of gonum in the
// same order, so that results are the same to the last bit. [blas64.Use] takes it;
// nothing but the time depends on it. It knows nothing of what is multiplied.
package blas

import (
	"runtime"
	"sync"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/gonum"
)

// Implementation is gonum's but for Dgemm.
type Implementation struct{ gonum.Implementation }

// A tile of the result is tileRows × tileCols values, which fit into the registers
// with what they are made from; depth of it are worked on at once, which fit into the
// nearest cache.
const (
	tileRows, tileCols = 4, 8
	depth              = 256
	fewest             = 20 * 20 * 20 // products that are worth packing
	fewestShared       = 1 << 21      // and worth several goroutines
)

// Dgemm is C = alpha·A·B + beta·C as in gonum, A or B transposed by tA and tB. Factors
// must be finite: gonum leaves out products with a zero of A.
func (g Implementation) Dgemm(tA, tB blas.Transpose, m, n, k int, alpha float64, a []float64, lda int, b []float64, ldb int, beta float64, c []float64, ldc int) {
	fits := m >= tileRows && n >= tileCols && k > 0 && m*n*k >= fewest
	if !vectors || tB != blas.NoTrans || !fits {
		g.Implementation.Dgemm(tA, tB, m, n, k, alpha, a, lda, b, ldb, beta, c, ldc)
		return
	}
	g.Implementation.Dgemm(tA, tB, m, n, k, 0, a, lda, b, ldb, beta, c, ldc) // checks the arguments and scales C
	left, right := buffer(roundUp(m, tileRows)*k), buffer(roundUp(n, tileCols)*k)
	defer buffers.Put(left)
	defer buffers.Put(right)
	packRows(*left, tA != blas.NoTrans, m, k, alpha, a, lda)
	packCols(*right, n, k, b, ldb)
	share(n, m*n*k, func(from, to int) {
		var edge [tileRows * tileCols]float64
		for l := 0; l < k; l += depth {
			deep := min(depth, k-l)
			for j := from; j < to; j += tileCols {
				bp := &(*right)[j*k+l*tileCols]
				for i := 0; i < m; i += tileRows {
					ap := &(*left)[i*k+l*tileRows]
					if i+tileRows <= m && j+tileCols <= n {
						tile(deep, ap, bp, &c[i*ldc+j], ldc)
						continue
					}
					rows, cols := min(tileRows, m-i), min(tileCols, n-j)
					for r := range rows {
						copy(edge[r*tileCols:], c[(i+r)*ldc+j:(i+r)*ldc+j+cols])
					}
					tile(deep, ap, bp, &edge[0], tileCols)
					for r := range rows {
						copy(c[(i+r)*ldc+j:(i+r)*ldc+j+cols], edge[r*tileCols:])
					}
				}
			}
		}
	})
}

// share gives the columns 0 to n−1 to goroutines, by whole tiles.
func share(n, products int, f func(from, to int)) {
	workers := 1
	if products >= fewestShared {
		workers = runtime.GOMAXPROCS(0)
	}
	if workers == 1 {
		f(0, n)
		return
	}
	step := roundUp((n+workers-1)/workers, tileCols)
	var all sync.WaitGroup
	for from := 0; from < n; from += step {
		all.Go(func() { f(from, min(from+step, n)) })
	}
	all.Wait()
}

// packRows writes alpha·A, or of A', by tiles of rows: for each of the k columns the
// tileRows values that stand below each other; rows that are missing are zero.
func packRows(to []float64, transposed bool, m, k int, alpha float64, a []float64, lda int) {
	for i := 0; i < m; i += tileRows {
		out := to[i*k : (i+tileRows)*k]
		if i+tileRows > m {
			clear(out)
		}
		if transposed {
			rows := min(tileRows, m-i)
			for l := range k {
				for r, v := range a[l*lda+i : l*lda+i+rows] {
					out[l*tileRows+r] = alpha * v
				}
			}
			continue
		}
		for r := range min(tileRows, m-i) {
			for l, v := range a[(i+r)*lda : (i+r)*lda+k] {
				out[l*tileRows+r] = alpha * v
			}
		}
	}
}

// packCols writes B by tiles of columns, each row's tileCols values in a row.
func packCols(to []float64, n, k int, b []float64, ldb int) {
	for j := 0; j < n; j += tileCols {
		out := to[j*k : (j+tileCols)*k]
		cols := min(tileCols, n-j)
		if cols < tileCols {
			clear(out)
		}
		for l := range k {
			copy(out[l*tileCols:(l+1)*tileCols], b[l*ldb+j:l*ldb+j+cols])
		}
	}
}

func roundUp(n, step int) int { return (n + step - 1) / step * step }

var buffers = sync.Pool{New: func() any { return new([]float64) }}

func buffer(n int) *[]float64 {
	b := buffers.Get().(*[]float64)
	if cap(*b) < n {
		*b = make([]float64, n)
	}
	*b = (*b)[:n]
	return b
}
