#include "textflag.h"

// The product of two matrices, four rows by eight columns at a time, which stay in
// registers. Every product and sum is that of the plain loop, in the same order, so that
// the bits are the same; nothing is fused.

// ROW adds to the eight values of a row in p and q those of the second matrix in Y8 and Y9,
// times one value of the first.
#define ROW(at, p, q) \
	VBROADCASTSD at, Y10; \
	VMULPD Y8, Y10, Y11; \
	VMULPD Y9, Y10, Y12; \
	VADDPD Y11, p, p;    \
	VADDPD Y12, q, q

// func tile(n int, a *float64, strideA int, b *float64, strideB int, c *float64, strideC int)
TEXT ·tile(SB), NOSPLIT, $0-56
	MOVQ n+0(FP), CX
	MOVQ a+8(FP), AX
	MOVQ strideA+16(FP), R8
	MOVQ b+24(FP), BX
	MOVQ strideB+32(FP), R9
	MOVQ c+40(FP), DX
	MOVQ strideC+48(FP), R10
	SHLQ $3, R8               // bytes
	SHLQ $3, R9
	SHLQ $3, R10
	LEAQ (R8)(R8*2), R11      // three rows of a
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3
	VXORPD Y4, Y4, Y4
	VXORPD Y5, Y5, Y5
	VXORPD Y6, Y6, Y6
	VXORPD Y7, Y7, Y7

next:
	VMOVUPD (BX), Y8
	VMOVUPD 32(BX), Y9
	ROW((AX), Y0, Y1)
	ROW((AX)(R8*1), Y2, Y3)
	ROW((AX)(R8*2), Y4, Y5)
	ROW((AX)(R11*1), Y6, Y7)
	ADDQ $8, AX
	ADDQ R9, BX
	DECQ CX
	JNZ  next

	VMOVUPD Y0, (DX)
	VMOVUPD Y1, 32(DX)
	ADDQ R10, DX
	VMOVUPD Y2, (DX)
	VMOVUPD Y3, 32(DX)
	ADDQ R10, DX
	VMOVUPD Y4, (DX)
	VMOVUPD Y5, 32(DX)
	ADDQ R10, DX
	VMOVUPD Y6, (DX)
	VMOVUPD Y7, 32(DX)
	VZEROUPPER
	RET
