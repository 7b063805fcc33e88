package wavfile

import "math"

// header returns everything before the samples of a file of so many frames.
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
