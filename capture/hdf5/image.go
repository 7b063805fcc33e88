package hdf5

// image is the bytes of a file and how wide its addresses and lengths are.
type image struct {
	b                      []byte
	offsetSize, lengthSize int
}

// at returns a cursor at an address of the file.
func (f *image) at(address uint64) *cursor {
	if address >= uint64(len(f.b)) {
		fail("address %d is beyond the end of the file at %d", address, len(f.b))
	}
	return &cursor{f.b[address:]}
}

func (f *image) address(c *cursor) uint64 {
	a := c.uint(f.offsetSize)
	if a == none>>(64-8*f.offsetSize) {
		return none
	}
	return a
}

func (f *image) length(c *cursor) uint64 { return c.uint(f.lengthSize) }

// globalHeap returns an object of a global heap collection.
func (f *image) globalHeap(address, index uint64) []byte {
	c := f.at(address)
	c.expect("GCOL")
	c.take(4)
	n := f.length(c)
	head := uint64(8 + f.lengthSize)
	if n < head {
		fail("a global heap of %d bytes", n)
	}
	c.b = c.take(n - head)
	for len(c.b) >= 8+f.lengthSize {
		i := c.uint(2)
		c.take(6)
		n := f.length(c)
		if i == 0 {
			break
		}
		object := c.take(n)
		if i == index {
			return object
		}
		c.take(min(-n%8, uint64(len(c.b))))
	}
	fail("the global heap at %d holds no object %d", address, index)
	return nil
}
