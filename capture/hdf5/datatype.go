package hdf5

import "math"

// Classes of datatypes.
const (
	classInteger   = 0
	classFloat     = 1
	classString    = 3
	classReference = 7
	classVlen      = 9
)

type datatype struct {
	class, bits int
	size        uint64
}

func readType(c *cursor) datatype {
	t := datatype{class: c.int(1) & 15, bits: c.int(3), size: c.uint(4)}
	if t.size == 0 {
		fail("a datatype of no size")
	}
	return t
}

// dataspace reads the extent: empty for one value, nil with one 0 for none.
func (f *image) dataspace(c *cursor) []uint64 {
	version, rank, _ := c.int(1), c.int(1), c.int(1)
	switch version {
	case 1:
		c.take(5)
	case 2:
		if c.int(1) == 2 { // null
			return []uint64{0}
		}
	default:
		fail("dataspace version %d", version)
	}
	if rank > 32 {
		fail("%d dimensions", rank)
	}
	dims := make([]uint64, rank)
	for i := range dims {
		dims[i] = f.length(c)
	}
	return dims
}

// count is the product of the dimensions.
func count(dims []uint64) uint64 {
	n := uint64(1)
	for _, d := range dims {
		if d == 0 {
			return 0
		}
		if n > math.MaxInt64/64/d {
			fail("dimensions %v", dims)
		}
		n *= d
	}
	return n
}
