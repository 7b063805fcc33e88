package deconv

import "golang.org/x/sys/cpu"

// pairs says whether the processor has what combine_amd64.s uses.
var pairs = cpu.X86.HasAVX

// combine2, combine3, combine4 and sixteen are butterflies2, 3 and 4 and fan, two
// values at a time where the processor can.

func combine2(x, t []complex128) {
	if m := len(x) / 2; pairs && m%2 == 0 && len(t) >= m && m > 0 {
		pairs2(&x[0], &t[0], m)
		return
	}
	butterflies2(x, t)
}

func combine3(x, t []complex128) {
	if m := len(x) / 3; pairs && m%2 == 0 && len(t) >= 2*m && m > 0 {
		pairs3(&x[0], &t[0], m)
		return
	}
	butterflies3(x, t)
}

func combine4(x, t []complex128) {
	if m := len(x) / 4; pairs && m%2 == 0 && len(t) >= 3*m && m > 0 {
		pairs4(&x[0], &t[0], m)
		return
	}
	butterflies4(x, t)
}

func sixteen(dst, src []complex128, stride int) {
	if pairs && len(dst) >= 16 && len(src) > 15*stride {
		pairs16(&dst[0], &src[0], stride, &sixteenths[0])
		return
	}
	fan(dst, src, stride)
}

// untangle is untangleFrom 1.
func untangle(z, turn []complex128) {
	k := 1
	if count := (len(z)/2 - 1) / 2; pairs && count > 0 && len(turn) > 2*count {
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
func pairs16(dst, src *complex128, stride int, t *complex128)
