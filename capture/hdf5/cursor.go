package hdf5

import (
	"encoding/binary"
	"fmt"
	"math/bits"
)

// formatError is what parsing panics with; catch turns it into an error at
// the exported functions.
type formatError string

func fail(format string, args ...any) { panic(formatError(fmt.Sprintf(format, args...))) }

func catch(err *error) {
	switch e := recover().(type) {
	case nil:
	case formatError:
		*err = fmt.Errorf("HDF5: %s", string(e))
	default:
		panic(e)
	}
}

// cursor reads little-endian values off the front of b; running out of bytes
// fails.
type cursor struct{ b []byte }

func (c *cursor) take(n uint64) []byte {
	if n > uint64(len(c.b)) {
		fail("%d bytes wanted where %d are left: the file is cut short or damaged", n, len(c.b))
	}
	out := c.b[:n:n]
	c.b = c.b[n:]
	return out
}

// uint reads an unsigned value of n bytes, 8 at most.
func (c *cursor) uint(n int) uint64 {
	var v [8]byte
	if n > 8 {
		fail("a number of %d bytes", n)
	}
	copy(v[:], c.take(uint64(n)))
	return binary.LittleEndian.Uint64(v[:])
}

func (c *cursor) int(n int) int { return int(c.uint(n)) }

func (c *cursor) expect(signature string) {
	if got := c.take(uint64(len(signature))); string(got) != signature {
		fail("%q where %q belongs", got, signature)
	}
}

// size is the number of bytes that hold values up to limit.
func size(limit uint64) int { return max(bits.Len64(limit)+7, 8) / 8 }

// none is the undefined address.
const none = ^uint64(0)

// visited refuses the second visit to a node: trees have no cycles and no
// shared branches, so work stays within the size of the file.
type visited map[uint64]bool

func (v visited) node(address uint64) {
	if v[address] {
		fail("the node at %d is met twice", address)
	}
	v[address] = true
}
