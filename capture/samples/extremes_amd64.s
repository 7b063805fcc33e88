#include "textflag.h"

// func extremesOfBlock(x *[extremesBlock]float64) (high, low float64, bad bool)
//
// VMAXPD and VMINPD give their second source (the first operand here) where one of
// the two is not a number, so that such samples leave both as they were.
TEXT ·extremesOfBlock(SB), NOSPLIT, $0-25
	MOVQ         x+0(FP), AX
	MOVQ         $0xFFF0000000000000, CX // −∞
	MOVQ         CX, X0
	VMOVDDUP     X0, X0
	VINSERTF128  $1, X0, Y0, Y0
	MOVQ         $0x7FF0000000000000, CX
	MOVQ         CX, X1
	VMOVDDUP     X1, X1
	VINSERTF128  $1, X1, Y1, Y1
	VMOVAPD      Y0, Y3
	VMOVAPD      Y1, Y4
	VXORPD       Y2, Y2, Y2
	MOVQ         $32, CX

loop:
	VMOVUPD      (AX), Y5
	VMOVUPD      32(AX), Y6
	VMAXPD       Y0, Y5, Y0
	VMINPD       Y1, Y5, Y1
	VMAXPD       Y3, Y6, Y3
	VMINPD       Y4, Y6, Y4
	VCMPPD       $3, Y6, Y5, Y7          // unordered: a value in either is not a number
	VORPD        Y7, Y2, Y2
	ADDQ         $64, AX
	DECQ         CX
	JNZ          loop

	VMAXPD       Y3, Y0, Y0
	VMINPD       Y4, Y1, Y1
	VEXTRACTF128 $1, Y0, X3
	VMAXPD       X3, X0, X0
	VPERMILPD    $1, X0, X3
	VMAXSD       X3, X0, X0
	VEXTRACTF128 $1, Y1, X4
	VMINPD       X4, X1, X1
	VPERMILPD    $1, X1, X4
	VMINSD       X4, X1, X1
	VMOVSD       X0, high+8(FP)
	VMOVSD       X1, low+16(FP)
	VMOVMSKPD    Y2, CX
	TESTQ        CX, CX
	SETNE        bad+24(FP)
	VZEROUPPER
	RET
