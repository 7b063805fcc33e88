//go:build !amd64

package deconv

func combine2(x, t []complex128) { butterflies2(x, t) }

func combine3(x, t []complex128) { butterflies3(x, t) }

func combine4(x, t []complex128) { butterflies4(x, t) }

func untangle(z, turn []complex128) { untangleFrom(z, turn, 1) }

func sixteens(dst, src []complex128, stride, count int) { fans(dst, src, stride, count) }

func fillFours(in []complex128, x []float64, offset float64, rows, step, count int) int { return 0 }

func tangleFours(in, c, turn []complex128, m, rows, step int, scale float64) bool { return false }
