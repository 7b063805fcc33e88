package hdf5

// btree1 walks a version 1 B-tree of the given kind; key passes over a key.
// leaf gets the bytes that begin with a child's key, and the child's address.
func (f *image) btree1(address uint64, kind int, key func(*cursor), leaf func(key []byte, child uint64)) {
	seen := visited{}
	var walk func(address uint64, level int)
	walk = func(address uint64, level int) {
		seen.node(address)
		c := f.at(address)
		c.expect("TREE")
		if k := c.int(1); k != kind {
			fail("a B-tree of kind %d where %d belongs", k, kind)
		}
		l := c.int(1)
		if level >= 0 && l != level {
			fail("a B-tree node of level %d where %d belongs", l, level)
		}
		n := c.int(2)
		f.address(c)
		f.address(c)
		for range n {
			k := c.b
			key(c)
			child := f.address(c)
			if l > 0 {
				walk(child, l-1)
				continue
			}
			seen.node(child)
			leaf(k, child)
		}
	}
	walk(address, -1)
}

// btree2 gives each record of a version 2 B-tree of the given kind.
func (f *image) btree2(address uint64, kind int, record func(*cursor)) {
	c := f.at(address)
	c.expect("BTHD")
	c.take(1)
	if k := c.int(1); k != kind {
		fail("a B-tree of kind %d where %d belongs", k, kind)
	}
	node, recordSize, depth := c.uint(4), c.uint(2), c.int(2)
	c.take(2)
	root, records := f.address(c), c.uint(2)
	if root == none || records == 0 {
		return
	}
	if recordSize == 0 || node < 64+recordSize || depth > 16 {
		fail("B-tree nodes of %d bytes with records of %d, %d deep", node, recordSize, depth)
	}
	// Sizes of the counts that stand beside pointers to children, per level.
	most := (node - 10) / recordSize
	countSize := size(most)
	total, totalSize := []uint64{most}, []int{0}
	for u := 1; u <= depth; u++ {
		pointer := uint64(f.offsetSize + countSize + totalSize[u-1])
		if node < 10+pointer {
			fail("B-tree nodes of %d bytes", node)
		}
		n := (node - 10 - pointer) / (recordSize + pointer)
		total = append(total, (n+1)*total[u-1]+n)
		totalSize = append(totalSize, size(total[u]))
	}
	seen := visited{}
	var walk func(address, records uint64, level int)
	walk = func(address, records uint64, level int) {
		seen.node(address)
		c := f.at(address)
		if level == 0 {
			c.expect("BTLF")
		} else {
			c.expect("BTIN")
		}
		c.take(2)
		for range records {
			record(&cursor{c.take(recordSize)})
		}
		if level == 0 {
			return
		}
		for range records + 1 {
			child, n := f.address(c), c.uint(countSize)
			c.uint(totalSize[level-1])
			walk(child, n, level-1)
		}
	}
	walk(root, records, depth)
}

// fractalHeap is the header of a fractal heap.
type fractalHeap struct {
	f                *image
	idLength         int
	offsetN, lengthN int
	huge, root       uint64
	width            uint64
	start, direct    uint64
	rows             int
}

func (f *image) fractalHeap(address uint64) fractalHeap {
	c := f.at(address)
	c.expect("FRHP")
	c.take(1)
	h := fractalHeap{f: f, idLength: c.int(2)}
	if c.int(2) != 0 {
		fail("a filtered fractal heap")
	}
	c.take(1)
	managed := c.uint(4)
	f.length(c)
	h.huge = f.address(c)
	c.take(uint64(f.lengthSize + f.offsetSize + 8*f.lengthSize))
	h.width, h.start, h.direct = c.uint(2), f.length(c), f.length(c)
	bits := c.int(2)
	c.take(2)
	h.root, h.rows = f.address(c), c.int(2)
	h.offsetN, h.lengthN = (bits+7)/8, size(min(managed, h.direct))
	if h.width == 0 || h.start == 0 || h.start > h.direct || h.direct > 1<<32 || bits > 64 || h.idLength < 1 {
		fail("a fractal heap of width %d with blocks from %d to %d bytes", h.width, h.start, h.direct)
	}
	return h
}

// object returns what a heap ID refers to.
func (h fractalHeap) object(id []byte) []byte {
	c := &cursor{(&cursor{id}).take(uint64(h.idLength))}
	f := h.f
	switch first := c.int(1); first >> 4 & 3 {
	case 0:
		offset, n := c.uint(h.offsetN), c.uint(h.lengthN)
		return h.managed(offset, n)
	case 1:
		if h.idLength-1 >= f.offsetSize+f.lengthSize {
			a := f.address(c)
			return f.at(a).take(f.length(c))
		}
		want := c.uint(min(h.idLength-1, f.lengthSize))
		var found []byte
		f.btree2(h.huge, 1, func(r *cursor) {
			a, n := f.address(r), f.length(r)
			if f.length(r) == want {
				found = f.at(a).take(n)
			}
		})
		if found == nil {
			fail("no huge object %d in the fractal heap", want)
		}
		return found
	case 2:
		return c.take(uint64(first&15) + 1)
	}
	fail("an unknown kind of heap ID")
	return nil
}

// managed finds n bytes at an offset of the heap's own space, which a doubling
// table of blocks makes up.
func (h fractalHeap) managed(offset, n uint64) []byte {
	f := h.f
	block, blockSize := h.root, h.start
	for rows, depth := h.rows, 0; rows > 0; depth++ {
		if depth > 64 {
			fail("a fractal heap that does not end")
		}
		c := f.at(block)
		c.expect("FHIB")
		c.take(uint64(1 + f.offsetSize + h.offsetN))
		row := 0
		blockSize = h.start
		for offset >= h.width*blockSize {
			offset -= h.width * blockSize
			if row++; row >= rows {
				fail("an offset beyond the fractal heap")
			}
			if row > 1 {
				blockSize *= 2
			}
		}
		column := offset / blockSize
		offset -= column * blockSize
		c.take((uint64(row)*h.width + column) * uint64(f.offsetSize))
		block = f.address(c)
		rows = 0
		if blockSize > h.direct { // an indirect block: as many rows as add up to its size
			for s, have := h.start, uint64(0); have < blockSize; rows++ {
				have += h.width * s
				if rows > 0 {
					s *= 2
				}
			}
		}
	}
	if offset > blockSize || n > blockSize-offset {
		fail("an object beyond its block of the fractal heap")
	}
	c := f.at(block)
	c.take(offset)
	return c.take(n)
}

// lookup3 is Bob Jenkins' hash of 2006 (public domain), HDF5's checksum of
// metadata and hash of names, with initial value 0.
func lookup3(k []byte) uint32 {
	rot := func(x uint32, n int) uint32 { return x<<n | x>>(32-n) }
	a := 0xdeadbeef + uint32(len(k))
	b, c := a, a
	word := func(k []byte) (w uint32) {
		for i := range min(4, len(k)) {
			w |= uint32(k[i]) << (8 * i)
		}
		return w
	}
	for ; len(k) > 12; k = k[12:] {
		a += word(k)
		b += word(k[4:])
		c += word(k[8:])
		a -= c
		a ^= rot(c, 4)
		c += b
		b -= a
		b ^= rot(a, 6)
		a += c
		c -= b
		c ^= rot(b, 8)
		b += a
		a -= c
		a ^= rot(c, 16)
		c += b
		b -= a
		b ^= rot(a, 19)
		a += c
		c -= b
		c ^= rot(b, 4)
		b += a
	}
	if len(k) == 0 {
		return c
	}
	a += word(k)
	b += word(k[min(4, len(k)):])
	c += word(k[min(8, len(k)):])
	c ^= b
	c -= rot(b, 14)
	a ^= c
	a -= rot(c, 11)
	b ^= a
	b -= rot(a, 25)
	c ^= b
	c -= rot(b, 16)
	a ^= c
	a -= rot(c, 4)
	b ^= a
	b -= rot(a, 14)
	c ^= b
	c -= rot(b, 24)
	return c
}
