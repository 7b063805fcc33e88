package cache

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"math"
	"reflect"
)

// KeyOf hashes the values of the parts in order, every field of every struct,
// exported or not. Values are written with their kind and length, so that
// lists of parts have the same key only when they are equal. Neither gob (its
// type numbers depend on what the process encoded before) nor JSON (its tags
// leave fields out) would do. A part must not hold a map, a function, a channel
// or an interface.
func KeyOf(parts ...any) (Key, error) {
	h := sha256.New()
	for _, p := range parts {
		if err := hashValue(h, reflect.ValueOf(p)); err != nil {
			return Key{}, fmt.Errorf("cache key: %w", err)
		}
	}
	return Key(h.Sum(nil)), nil
}

func hashValue(h hash.Hash, v reflect.Value) error {
	word := func(n uint64) {
		var b [9]byte
		b[0] = byte(v.Kind())
		binary.LittleEndian.PutUint64(b[1:], n)
		h.Write(b[:])
	}
	switch v.Kind() {
	case reflect.Bool:
		if v.Bool() {
			word(1)
		} else {
			word(0)
		}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		word(uint64(v.Int()))
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		word(v.Uint())
	case reflect.Float32, reflect.Float64:
		word(math.Float64bits(v.Float()))
	case reflect.String:
		word(uint64(v.Len()))
		h.Write([]byte(v.String()))
	case reflect.Pointer:
		if v.IsNil() {
			word(0)
			return nil
		}
		word(1)
		return hashValue(h, v.Elem())
	case reflect.Slice, reflect.Array:
		word(uint64(v.Len()))
		if v.Type().Elem().Kind() == reflect.Float64 { // the bulk of what is hashed
			hashFloats(h, v)
			return nil
		}
		for i := range v.Len() {
			if err := hashValue(h, v.Index(i)); err != nil {
				return err
			}
		}
	case reflect.Struct:
		word(uint64(v.NumField()))
		for i := range v.NumField() {
			if err := hashValue(h, v.Field(i)); err != nil {
				return fmt.Errorf("%s: %w", v.Type().Field(i).Name, err)
			}
		}
	default:
		return fmt.Errorf("a value of kind %s has no stable order", v.Kind())
	}
	return nil
}

// hashFloats hashes the values of a slice or array, many at a time.
func hashFloats(h hash.Hash, v reflect.Value) {
	b := []byte{byte(reflect.Float64)}
	for i := range v.Len() {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v.Index(i).Float()))
		if len(b) >= 1<<12 {
			h.Write(b)
			b = b[:0]
		}
	}
	h.Write(b)
}
