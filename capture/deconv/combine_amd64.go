package deconv

import "golang.org/x/sys/cpu"

// pairs says whether the processor has what combine_amd64.s uses.
var pairs = cpu.X86.HasAVX

// combine2, combine3, combine4 and sixteens are butterflies2, 3 and 4 and fans, two
// values at a time where the processor can.

func combine2(x, t []complex128) {
	if m := len(x) / 2; pairs && m%2 == 0 && cap(t) > m && m > 0 {
		pairs2(&x[0], &t[0], m)
		return
	}
	butterflies2(x, t)
}

func combine3(x, t []complex128) {
	if m := len(x) / 3; pairs && m%2 == 0 && cap(t) > 2*m && m > 0 {
		pairs3(&x[0], &t[0], m)
		return
	}
	butterflies3(x, t)
}

func combine4(x, t []complex128) {
	if m := len(x) / 4; pairs && m%2 == 0 && cap(t) > 3*m && m > 0 {
		pairs4(&x[0], &t[0], m)
		return
	}
	butterflies4(x, t)
}

func sixteens(dst, src []complex128, stride, count int) {
	if pairs && len(dst) >= 16*count && len(src) > 15*stride+(count-1)*(stride/4) {
		pairs16(&dst[0], &src[0], stride, &sixteenths[0], count)
		return
	}
	fans(dst, src, stride, count)
}

// fillFours does fill's work for count times four values of each row.
func fillFours(in []complex128, x []float64, offset float64, rows, step, count int) int {
	if !pairs || count == 0 {
		return 0
	}
	fill4(&in[0], &x[0], offset, rows, step, count)
	return 4 * count
}

// tangleFours does tangle's work for all rows but the first, four values of a row at a
// time, where rows are of such a length.
func tangleFours(in, c, turn []complex128, m, rows, step int, scale float64) bool {
	length := m / rows
	if !pairs || rows == 1 || length%8 != 0 {
		return false
	}
	for i := 0; i < length/2; i += 4 {
		tangle4(&in[step+i], &in[(rows-1)*step+length-4-i], step, &c[rows*i+1], &c[m-rows*(i+3)-1], &turn[rows*i+1], rows, scale)
	}
	return true
}

// untangle is untangleFrom 1.
func untangle(z, turn []complex128) {
	k := 1
	if count := (len(z)/2 - 1) / 2; pairs && count > 0 && len(turn) > 2*count+1 {
		untanglePairs(&z[0], &turn[0], len(z), count)
		k += 2 * count
	}
	untangleFrom(z, turn, k)
}

//go:noescape
func untanglePairs(z, turn *complex128, m, count int)

//go:noescape
func pairs2(x, t *complex128, m int)

//go:noescape
func pairs3(x, t *complex128, m int)

//go:noescape
func pairs4(x, t *complex128, m int)

//go:noescape
func pairs16(dst, src *complex128, stride int, t *complex128, count int)

//go:noescape
func fill4(in *complex128, x *float64, offset float64, rows, step, count int)

//go:noescape
func tangle4(up, down *complex128, step int, a, b, turn *complex128, rows int, scale float64)
