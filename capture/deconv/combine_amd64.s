#include "textflag.h"

// The steps of the transform on two complex values at a time. Every product and
// sum is that of the Go code, in the same order, so that the bits are the same.

// MUL multiplies the two complex values in x by those in memory at re, im being the place 8
// bytes on, of which twice as much is read: 8 bytes behind the values. s is overwritten.
// Reading parts twice takes no time, exchanging them does.
#define MUL(x, re, im, s) \
	VPERMILPD $5, x, s;  \ // imaginary parts first
	VMOVDDUP  re, Y14;   \
	VMOVDDUP  im, Y15;   \
	VMULPD    Y14, x, x; \
	VMULPD    Y15, s, s; \
	VADDSUBPD s, x, x

// FOUR transforms the four values a, b, c, d in place; p, q, s, u are
// overwritten, Y13 holds the signs to flip.
#define FOUR(a, b, c, d, p, q, s, u) \
	VADDPD    c, a, p; \
	VSUBPD    c, a, q; \
	VADDPD    d, b, s; \
	VSUBPD    d, b, u; \
	VPERMILPD $5, u, u; \
	VADDPD    s, p, a; \
	VSUBPD    s, p, c; \
	VADDSUBPD u, q, d; \ // q + iu
	VXORPD    Y13, u, u; \
	VADDSUBPD u, q, b // q − iu

DATA flip<>+0(SB)/8, $0x8000000000000000
DATA flip<>+8(SB)/8, $0x8000000000000000
DATA flip<>+16(SB)/8, $0x8000000000000000
DATA flip<>+24(SB)/8, $0x8000000000000000
GLOBL flip<>(SB), RODATA|NOPTR, $32

DATA sine<>+0(SB)/8, $0.866025403784438646763723170752936
GLOBL sine<>(SB), RODATA|NOPTR, $8
DATA half<>+0(SB)/8, $0.5
GLOBL half<>(SB), RODATA|NOPTR, $8

// func pairs4(x, t *complex128, m int)
TEXT ·pairs4(SB), NOSPLIT, $0-24
	MOVQ    x+0(FP), AX
	MOVQ    t+8(FP), DX
	MOVQ    m+16(FP), CX
	MOVQ    CX, R8
	SHLQ    $4, R8              // bytes of a part
	LEAQ    (AX)(R8*1), BX      // second part
	LEAQ    (BX)(R8*1), SI      // third
	LEAQ    (SI)(R8*1), DI      // fourth
	LEAQ    (DX)(R8*1), R9      // their factors
	LEAQ    (R9)(R8*1), R10
	VMOVUPD flip<>(SB), Y13
	XORQ    R11, R11

loop4:
	VMOVUPD (AX)(R11*1), Y0
	VMOVUPD (BX)(R11*1), Y1
	VMOVUPD (SI)(R11*1), Y2
	VMOVUPD (DI)(R11*1), Y3
	MUL(Y1, 0(DX)(R11*1), 8(DX)(R11*1), Y7)
	MUL(Y2, 0(R9)(R11*1), 8(R9)(R11*1), Y8)
	MUL(Y3, 0(R10)(R11*1), 8(R10)(R11*1), Y9)
	FOUR(Y0, Y1, Y2, Y3, Y4, Y5, Y6, Y7)
	VMOVUPD Y0, (AX)(R11*1)
	VMOVUPD Y1, (BX)(R11*1)
	VMOVUPD Y2, (SI)(R11*1)
	VMOVUPD Y3, (DI)(R11*1)
	ADDQ    $32, R11
	CMPQ    R11, R8
	JLT     loop4
	VZEROUPPER
	RET

// func pairs2(x, t *complex128, m int)
TEXT ·pairs2(SB), NOSPLIT, $0-24
	MOVQ    x+0(FP), AX
	MOVQ    t+8(FP), DX
	MOVQ    m+16(FP), R8
	SHLQ    $4, R8
	LEAQ    (AX)(R8*1), BX
	XORQ    R11, R11

loop2:
	VMOVUPD (AX)(R11*1), Y0
	VMOVUPD (BX)(R11*1), Y1
	MUL(Y1, (DX)(R11*1), 8(DX)(R11*1), Y7)
	VADDPD  Y1, Y0, Y2
	VSUBPD  Y1, Y0, Y3
	VMOVUPD Y2, (AX)(R11*1)
	VMOVUPD Y3, (BX)(R11*1)
	ADDQ    $32, R11
	CMPQ    R11, R8
	JLT     loop2
	VZEROUPPER
	RET

// func pairs3(x, t *complex128, m int)
TEXT ·pairs3(SB), NOSPLIT, $0-24
	MOVQ    x+0(FP), AX
	MOVQ    t+8(FP), DX
	MOVQ    m+16(FP), R8
	SHLQ    $4, R8
	LEAQ    (AX)(R8*1), BX
	LEAQ    (BX)(R8*1), SI
	LEAQ    (DX)(R8*1), R9
	VMOVUPD flip<>(SB), Y13
	VBROADCASTSD sine<>(SB), Y12
	VBROADCASTSD half<>(SB), Y11
	XORQ    R11, R11

loop3:
	VMOVUPD (AX)(R11*1), Y0
	VMOVUPD (BX)(R11*1), Y1
	VMOVUPD (SI)(R11*1), Y2
	MUL(Y1, (DX)(R11*1), 8(DX)(R11*1), Y7)
	MUL(Y2, (R9)(R11*1), 8(R9)(R11*1), Y8)
	VADDPD  Y2, Y1, Y3          // s = b + c
	VSUBPD  Y2, Y1, Y4
	VMULPD  Y12, Y4, Y4         // u = sin 2π/3 (b − c)
	VPERMILPD $5, Y4, Y4
	VADDPD  Y3, Y0, Y5          // a + s
	VMULPD  Y11, Y3, Y3
	VSUBPD  Y3, Y0, Y6          // p = a − s/2
	VADDSUBPD Y4, Y6, Y2        // p + iu
	VXORPD  Y13, Y4, Y4
	VADDSUBPD Y4, Y6, Y1        // p − iu
	VMOVUPD Y5, (AX)(R11*1)
	VMOVUPD Y1, (BX)(R11*1)
	VMOVUPD Y2, (SI)(R11*1)
	ADDQ    $32, R11
	CMPQ    R11, R8
	JLT     loop3
	VZEROUPPER
	RET

// HALF turns two parts whose transforms are [a.k] and [b.k] for k and k+1, each
// with that of the part behind it, multiplies and combines.
#define HALF(a, b, c, d, at) \
	VPERM2F128 $0x20, b, a, Y0; \
	VPERM2F128 $0x31, b, a, Y1; \
	VPERM2F128 $0x20, d, c, Y2; \
	VPERM2F128 $0x31, d, c, Y3; \
	MUL(Y1, at+0(DX), at+8(DX), Y4); \
	MUL(Y2, at+64(DX), at+72(DX), Y4); \
	MUL(Y3, at+128(DX), at+136(DX), Y4); \
	FOUR(Y0, Y1, Y2, Y3, a, b, c, d); \
	VMOVUPD    Y0, at+0(CX); \
	VMOVUPD    Y1, at+64(CX); \
	VMOVUPD    Y2, at+128(CX); \
	VMOVUPD    Y3, at+192(CX)

// func pairs16(dst, src *complex128, stride int, t *complex128, count int)
TEXT ·pairs16(SB), NOSPLIT, $0-40
	MOVQ    dst+0(FP), CX
	MOVQ    src+8(FP), AX
	MOVQ    stride+16(FP), R8
	MOVQ    t+24(FP), DX
	MOVQ    count+32(FP), R12
	SHLQ    $2, R8
	MOVQ    R8, R13
	ANDQ    $~15, R13           // to the next part
	SHLQ    $2, R8              // to the next value
	LEAQ    (R8*4), R9
	LEAQ    (AX)(R9*1), BX      // values 4, 8 and 12
	LEAQ    (AX)(R9*2), SI
	LEAQ    (BX)(R9*2), DI
	LEAQ    (R8*2), R10
	LEAQ    (R10)(R8*1), R11
	VMOVUPD flip<>(SB), Y13

loop16:
	VMOVUPD (AX), X4
	VINSERTF128 $1, (AX)(R8*1), Y4, Y4
	VMOVUPD (BX), X5
	VINSERTF128 $1, (BX)(R8*1), Y5, Y5
	VMOVUPD (SI), X6
	VINSERTF128 $1, (SI)(R8*1), Y6, Y6
	VMOVUPD (DI), X7
	VINSERTF128 $1, (DI)(R8*1), Y7, Y7
	FOUR(Y4, Y5, Y6, Y7, Y0, Y1, Y2, Y3)
	VMOVUPD (AX)(R10*1), X8
	VINSERTF128 $1, (AX)(R11*1), Y8, Y8
	VMOVUPD (BX)(R10*1), X9
	VINSERTF128 $1, (BX)(R11*1), Y9, Y9
	VMOVUPD (SI)(R10*1), X10
	VINSERTF128 $1, (SI)(R11*1), Y10, Y10
	VMOVUPD (DI)(R10*1), X11
	VINSERTF128 $1, (DI)(R11*1), Y11, Y11
	FOUR(Y8, Y9, Y10, Y11, Y0, Y1, Y2, Y3)
	HALF(Y4, Y5, Y8, Y9, 0)
	HALF(Y6, Y7, Y10, Y11, 32)
	ADDQ    $256, CX
	ADDQ    R13, AX
	ADDQ    R13, BX
	ADDQ    R13, SI
	ADDQ    R13, DI
	DECQ    R12
	JNZ     loop16
	VZEROUPPER
	RET

// func untanglePairs(z, turn *complex128, m, count int)
TEXT ·untanglePairs(SB), NOSPLIT, $0-32
	MOVQ    z+0(FP), AX
	MOVQ    turn+8(FP), DX
	MOVQ    m+16(FP), BX
	MOVQ    count+24(FP), CX
	SHLQ    $4, BX
	LEAQ    -32(AX)(BX*1), BX   // values m−2 and m−1
	ADDQ    $16, AX             // values 1 and 2
	ADDQ    $16, DX
	VMOVUPD flip<>(SB), Y13
	VXORPD  Y12, Y12, Y12
	VBLENDPD $10, Y13, Y12, Y12 // signs of imaginary parts
	VBROADCASTSD half<>(SB), Y11

untangle:
	VMOVUPD (AX), Y0
	VMOVUPD (BX), Y1
	VPERM2F128 $1, Y1, Y1, Y1
	VXORPD  Y12, Y1, Y1         // conjugate
	VADDPD  Y1, Y0, Y2
	VSUBPD  Y1, Y0, Y3
	VMULPD  Y11, Y2, Y2         // even
	VMULPD  Y11, Y3, Y3
	VPERMILPD $5, Y3, Y3
	VXORPD  Y12, Y3, Y3         // odd
	MUL(Y3, (DX), 8(DX), Y5)
	VADDPD  Y3, Y2, Y0
	VSUBPD  Y3, Y2, Y1
	VXORPD  Y12, Y1, Y1
	VPERM2F128 $1, Y1, Y1, Y1
	VMOVUPD Y0, (AX)
	VMOVUPD Y1, (BX)
	ADDQ    $32, AX
	ADDQ    $32, DX
	SUBQ    $32, BX
	DECQ    CX
	JNZ     untangle
	VZEROUPPER
	RET

// func fill4(in *complex128, x *float64, offset float64, rows, step, count int)
TEXT ·fill4(SB), NOSPLIT, $0-48
	MOVQ    in+0(FP), DI
	MOVQ    x+8(FP), SI
	VBROADCASTSD offset+16(FP), Y12
	MOVQ    rows+24(FP), CX
	MOVQ    step+32(FP), R8
	MOVQ    count+40(FP), R9
	SHLQ    $4, R8              // from row to row
	MOVQ    CX, R10
	SHLQ    $4, R10             // to the next value of a row
	LEAQ    (R10)(R10*2), R11

fill:
	MOVQ    SI, AX
	MOVQ    DI, BX
	MOVQ    CX, DX

fillRow:
	VMOVUPD (AX), X0
	VINSERTF128 $1, (AX)(R10*1), Y0, Y0
	VMOVUPD (AX)(R10*2), X1
	VINSERTF128 $1, (AX)(R11*1), Y1, Y1
	VSUBPD  Y12, Y0, Y0
	VSUBPD  Y12, Y1, Y1
	VMOVUPD Y0, (BX)
	VMOVUPD Y1, 32(BX)
	ADDQ    $16, AX
	ADDQ    R8, BX
	DECQ    DX
	JNZ     fillRow
	LEAQ    (SI)(R10*4), SI
	ADDQ    $64, DI
	DECQ    R9
	JNZ     fill
	VZEROUPPER
	RET

// TANGLE turns a and b, of which the conjugate is meant, into even and i·odd times w, and
// from these into what belongs to k, in a, and to −k, in b.
#define TANGLE(a, b, w) \
	VXORPD    Y12, b, b;   \
	VADDPD    b, a, Y8;    \
	VSUBPD    b, a, Y9;    \
	VMULPD    Y11, Y8, Y8; \
	VMULPD    Y11, Y9, Y9; \
	VXORPD    Y12, Y9, Y9; \
	VPERMILPD $5, Y9, Y10; \
	VMOVDDUP  w, Y14;      \
	VPERMILPD $15, w, Y15; \
	VMULPD    Y14, Y9, Y9; \
	VMULPD    Y15, Y10, Y10; \
	VADDSUBPD Y10, Y9, Y9; \ // conjugate of odd
	VPERMILPD $5, Y9, Y9;  \ // i·odd
	VADDPD    Y9, Y8, a;   \
	VSUBPD    Y9, Y8, b;   \
	VXORPD    Y12, b, b

// func tangle4(up, down *complex128, step int, a, b, turn *complex128, rows int, scale float64)
TEXT ·tangle4(SB), NOSPLIT, $0-64
	MOVQ    up+0(FP), DI
	MOVQ    down+8(FP), SI
	MOVQ    step+16(FP), R8
	MOVQ    a+24(FP), AX
	MOVQ    b+32(FP), BX
	MOVQ    turn+40(FP), DX
	MOVQ    rows+48(FP), CX
	VBROADCASTSD scale+56(FP), Y11
	SHLQ    $4, R8              // from row to row
	MOVQ    CX, R10
	SHLQ    $4, R10             // to the next value of a row
	LEAQ    (R10)(R10*2), R11
	VMOVUPD flip<>(SB), Y13
	VXORPD  Y12, Y12, Y12
	VBLENDPD $10, Y13, Y12, Y12 // signs of imaginary parts
	DECQ    CX

tangle:
	VMOVUPD (AX), X0
	VINSERTF128 $1, (AX)(R10*1), Y0, Y0
	VMOVUPD (AX)(R10*2), X1
	VINSERTF128 $1, (AX)(R11*1), Y1, Y1
	VMOVUPD (BX)(R11*1), X2
	VINSERTF128 $1, (BX)(R10*2), Y2, Y2
	VMOVUPD (BX)(R10*1), X3
	VINSERTF128 $1, (BX), Y3, Y3
	VMOVUPD (DX), X4
	VINSERTF128 $1, (DX)(R10*1), Y4, Y4
	VMOVUPD (DX)(R10*2), X5
	VINSERTF128 $1, (DX)(R11*1), Y5, Y5
	TANGLE(Y0, Y2, Y4)
	TANGLE(Y1, Y3, Y5)
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, 32(DI)
	VPERM2F128 $1, Y1, Y1, Y1
	VPERM2F128 $1, Y0, Y0, Y0
	VMOVUPD Y1, (SI)
	VMOVUPD Y0, 32(SI)
	ADDQ    $16, AX
	ADDQ    $16, DX
	SUBQ    $16, BX
	ADDQ    R8, DI
	SUBQ    R8, SI
	DECQ    CX
	JNZ     tangle
	VZEROUPPER
	RET
