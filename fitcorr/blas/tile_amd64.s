#include "textflag.h"

// ROW adds to the eight values in x and y the products of the value at off(SI) with
// those in Y8 and Y9. Product and sum are rounded one after the other, as in gonum.
#define ROW(off, x, y) \
	VBROADCASTSD off(SI), Y10; \
	VMULPD Y8, Y10, Y11; \
	VMULPD Y9, Y10, Y12; \
	VADDPD Y11, x, x; \
	VADDPD Y12, y, y

// func tile(k int, a, b, c *float64, ldc int)
TEXT ·tile(SB), NOSPLIT, $0-40
	MOVQ k+0(FP), CX
	MOVQ a+8(FP), SI
	MOVQ b+16(FP), DI
	MOVQ c+24(FP), DX
	MOVQ ldc+32(FP), R8
	SHLQ $3, R8
	LEAQ (DX)(R8*1), R9  // the rows of c
	LEAQ (R9)(R8*1), R10
	LEAQ (R10)(R8*1), R11
	VMOVUPD (DX), Y0
	VMOVUPD 32(DX), Y1
	VMOVUPD (R9), Y2
	VMOVUPD 32(R9), Y3
	VMOVUPD (R10), Y4
	VMOVUPD 32(R10), Y5
	VMOVUPD (R11), Y6
	VMOVUPD 32(R11), Y7

loop:
	VMOVUPD (DI), Y8
	VMOVUPD 32(DI), Y9
	ROW(0, Y0, Y1)
	ROW(8, Y2, Y3)
	ROW(16, Y4, Y5)
	ROW(24, Y6, Y7)
	ADDQ $32, SI
	ADDQ $64, DI
	DECQ CX
	JNZ loop

	VMOVUPD Y0, (DX)
	VMOVUPD Y1, 32(DX)
	VMOVUPD Y2, (R9)
	VMOVUPD Y3, 32(R9)
	VMOVUPD Y4, (R10)
	VMOVUPD Y5, 32(R10)
	VMOVUPD Y6, (R11)
	VMOVUPD Y7, 32(R11)
	VZEROUPPER
	RET
