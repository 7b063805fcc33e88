package cache

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/gob"
	"errors"
	"fmt"
	"io"

	"asworn/capture/disk"
)

// Errors of files that were not written by this program for this purpose, or
// are no longer as they were written.
var (
	ErrOther   = errors.New("it was written by another version of the program, or for something else")
	ErrDamaged = errors.New("it does not agree with its checksum")
)

// A sealed file is a magic number, the key of what it is of, and values: each
// the length of its gob, the SHA-256 of key, place, length and gob, and the gob.
// Nothing is decoded before its checksum was found right.
const (
	magic    = "asworn sealed 1\n"
	headSize = len(magic) + sha256.Size
	valueMin = 8 + sha256.Size
	maxValue = 1 << 30 // bytes; a response with its impulses takes less than a thousandth
)

// Seal returns the bytes of a file that holds values under key.
func Seal(k Key, values ...any) ([]byte, error) {
	out := append([]byte(magic), k[:]...)
	var b bytes.Buffer
	for i, v := range values {
		b.Reset()
		if err := gob.NewEncoder(&b).Encode(v); err != nil {
			return nil, fmt.Errorf("cache: %w", err)
		}
		out = binary.LittleEndian.AppendUint64(out, uint64(b.Len()))
		sum := valueSum(k, i, b.Bytes())
		out = append(append(out, sum[:]...), b.Bytes()...)
	}
	return out, nil
}

// valueSum binds a value to the key and to its place among the values.
func valueSum(k Key, place int, content []byte) Key {
	h := sha256.New()
	h.Write([]byte(magic))
	h.Write(k[:])
	h.Write(binary.LittleEndian.AppendUint64(nil, uint64(place)))
	h.Write(binary.LittleEndian.AppendUint64(nil, uint64(len(content))))
	h.Write(content)
	return Key(h.Sum(nil))
}

// ReadSealed reads the values of a sealed file into the pointers, in the order
// in which they were sealed; fewer pointers read only the first. A file under
// another key gives [ErrOther], one that is not whole [ErrDamaged], both
// wrapped; what the pointers name is then undefined.
func ReadSealed(path string, k Key, to ...any) error {
	f, err := disk.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil {
		err = readSealed(bufio.NewReaderSize(f, 1<<16), info.Size(), k, to...)
	}
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}

// Unseal is [ReadSealed] of a file whose bytes are there already.
func Unseal(b []byte, k Key, to ...any) error {
	return readSealed(bytes.NewReader(b), int64(len(b)), k, to...)
}

func readSealed(r io.Reader, size int64, k Key, to ...any) error {
	left := size - int64(headSize)
	head := make([]byte, headSize)
	if _, err := io.ReadFull(r, head); err != nil || string(head[:len(magic)]) != magic {
		return ErrDamaged
	}
	if Key(head[len(magic):]) != k {
		return ErrOther
	}
	for i, p := range to {
		var fixed [valueMin]byte
		if _, err := io.ReadFull(r, fixed[:]); err != nil {
			return ErrDamaged
		}
		left -= valueMin
		n := binary.LittleEndian.Uint64(fixed[:])
		if left < 0 || n > uint64(left) || n > maxValue {
			return ErrDamaged
		}
		content := make([]byte, n)
		if _, err := io.ReadFull(r, content); err != nil || valueSum(k, i, content) != Key(fixed[8:]) {
			return ErrDamaged
		}
		left -= int64(n)
		if err := gob.NewDecoder(bytes.NewReader(content)).Decode(p); err != nil {
			return fmt.Errorf("%w: %w", ErrDamaged, err)
		}
	}
	return nil
}
