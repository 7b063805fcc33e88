//go:build !amd64

package deconv

func combine2(x, t []complex128) { butterflies2(x, t) }

func combine3(x, t []complex128) { butterflies3(x, t) }

func combine4(x, t []complex128) { butterflies4(x, t) }

func untangle(z, turn []complex128) { untangleFrom(z, turn, 1) }

func sixteen(dst, src []complex128, stride int) { fan(dst, src, stride) }
