package wavfile

import (
	"math"
	"os"
)

// writeAny writes a file, also in the layouts that [Write] does not: RF64, BW64
// and extensible.
func writeAny(path string, f Format, x [][]float64) error {
	if f.Check() == nil {
		return Write(path, f, x)
	}
	return os.WriteFile(path, whole(f, x), 0o644)
}

// whole returns the bytes of a file of any layout.
func whole(f Format, x [][]float64) []byte {
	if f.Container == "" {
		f.Container = RIFF
	}
	h := header(f, int64(len(x[0])))
	block := f.Channels * f.Bits / 8
	b := append(h, make([]byte, (len(x[0])*block+1)/2*2)...)
	for c := range x {
		if len(x[c]) == 0 {
			break
		}
		encode(b[len(h)+c*f.Bits/8:], x[c], f, block)
	}
	return b
}

// header returns everything before the samples of a file of so many frames, in
// every layout that is read; after EBU Tech 3306 and WAVEFORMATEXTENSIBLE.
func header(f Format, frames int64) []byte {
	block := f.Channels * f.Bits / 8
	data := frames * int64(block)
	code, fmtSize := uint16(codePCM), 16
	if f.Float {
		code, fmtSize = codeFloat, 18
	}
	tag := code
	if f.Extensible {
		tag, fmtSize = codeExtensible, 40
	}
	long := f.Container != RIFF
	rest := 4 + 8 + fmtSize + 8 // "WAVE", format chunk, head of the data chunk
	if f.Float {
		rest += 12 // what is not integer PCM has a fact chunk
	}
	if long {
		rest += 8 + ds64Length
	}
	total := int64(rest) + data + data%2

	size32 := func(n int64) uint32 {
		if long {
			return math.MaxUint32
		}
		return uint32(n)
	}
	b := append(make([]byte, 0, 8+rest), f.Container...)
	b = le.AppendUint32(b, size32(total))
	b = append(b, "WAVE"...)
	if long {
		b = append(b, "ds64"...)
		b = le.AppendUint32(b, ds64Length)
		b = le.AppendUint64(b, uint64(total))
		b = le.AppendUint64(b, uint64(data))
		b = le.AppendUint64(b, uint64(frames))
		b = le.AppendUint32(b, 0)
	}
	b = append(b, "fmt "...)
	b = le.AppendUint32(b, uint32(fmtSize))
	b = le.AppendUint16(b, tag)
	b = le.AppendUint16(b, uint16(f.Channels))
	b = le.AppendUint32(b, uint32(f.RateHz))
	b = le.AppendUint32(b, uint32(f.RateHz*block))
	b = le.AppendUint16(b, uint16(block))
	b = le.AppendUint16(b, uint16(f.Bits))
	switch {
	case f.Extensible:
		b = le.AppendUint16(b, 22)
		b = le.AppendUint16(b, uint16(f.Bits)) // all bits are valid
		b = le.AppendUint32(b, 0)              // channels have no loudspeaker position
		b = le.AppendUint16(b, code)
		b = append(b, guidTails[0]...)
	case f.Float:
		b = le.AppendUint16(b, 0)
	}
	if f.Float {
		b = append(b, "fact"...)
		b = le.AppendUint32(b, 4)
		b = le.AppendUint32(b, uint32(min(frames, math.MaxUint32)))
	}
	b = append(b, "data"...)
	return le.AppendUint32(b, size32(data))
}
