package wavfile

import (
	"encoding/binary"
	"math"
)

var le = binary.LittleEndian

// decoder returns what fills dst from raw, whose samples are step bytes apart.
// Every scale is a power of two, so that no integer loses anything.
func decoder(f Format) func(dst []float64, raw []byte, step int) {
	switch {
	case f.Float && f.Bits == 32:
		return func(dst []float64, raw []byte, step int) {
			for i := range dst {
				dst[i] = float64(math.Float32frombits(le.Uint32(raw[i*step:])))
			}
		}
	case f.Float:
		return func(dst []float64, raw []byte, step int) {
			for i := range dst {
				dst[i] = math.Float64frombits(le.Uint64(raw[i*step:]))
			}
		}
	case f.Bits == 8: // offset binary, all others two's complement
		return func(dst []float64, raw []byte, step int) {
			for i := range dst {
				dst[i] = float64(int(raw[i*step])-128) / (1 << 7)
			}
		}
	case f.Bits == 16:
		return func(dst []float64, raw []byte, step int) {
			for i := range dst {
				dst[i] = float64(int16(le.Uint16(raw[i*step:]))) / (1 << 15)
			}
		}
	case f.Bits == 24:
		return func(dst []float64, raw []byte, step int) {
			for i := range dst {
				s := raw[i*step : i*step+3 : i*step+3]
				v := int32(uint32(s[0])<<8 | uint32(s[1])<<16 | uint32(s[2])<<24)
				dst[i] = float64(v) / (1 << 31)
			}
		}
	default:
		return func(dst []float64, raw []byte, step int) {
			for i := range dst {
				dst[i] = float64(int32(le.Uint32(raw[i*step:]))) / (1 << 31)
			}
		}
	}
}

// implausible returns the index of the first sample that is not a number from
// -MaxSample to MaxSample, or -1.
func implausible(x []float64) int {
	for i, v := range x {
		if !(v >= -MaxSample && v <= MaxSample) {
			return i
		}
	}
	return -1
}

// encode puts the samples of one channel into raw, step bytes apart, and
// returns the index of the first that does not fit, or -1. Integers are rounded
// to the nearest; +1 becomes the largest code, for two's complement has none at
// full scale.
func encode(raw []byte, x []float64, f Format, step int) int {
	if f.Float {
		return encodeFloat(raw, x, f, step)
	}
	scale := math.Ldexp(1, f.Bits-1)
	for i, v := range x {
		if !(v >= -1 && v <= 1) {
			return i
		}
		code := int64(min(math.Round(v*scale), scale-1))
		switch b := raw[i*step:]; f.Bits {
		case 16:
			le.PutUint16(b, uint16(code))
		case 24:
			b[0], b[1], b[2] = byte(code), byte(code>>8), byte(code>>16)
		default:
			le.PutUint32(b, uint32(code))
		}
	}
	return -1
}

func encodeFloat(raw []byte, x []float64, f Format, step int) int {
	if i := implausible(x); i >= 0 {
		return i
	}
	for i, v := range x {
		if f.Bits == 64 {
			le.PutUint64(raw[i*step:], math.Float64bits(v))
		} else {
			le.PutUint32(raw[i*step:], math.Float32bits(float32(v)))
		}
	}
	return -1
}
