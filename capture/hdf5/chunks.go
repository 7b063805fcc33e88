package hdf5

// chunks is a data set that lies in the file as chunks of one shape, found by an index
// (format specification IV.A.2.i, VII).
type chunks struct {
	*Dataset
	out     []byte   // the elements in order
	dims    []uint64 // elements along each dimension
	shape   []uint64 // of a chunk
	along   []uint64 // chunks along each dimension
	total   uint64   // chunks
	size    uint64   // bytes of a chunk without filters
	index   int      // kind, 0 for the version 1 B-tree
	address uint64   // of that B-tree
	flags   int
	done    visited // numbers of the chunks that were found
}

// chunks reads the layout message up to what is special to the kind of index.
func (d *Dataset) chunks(version int, c *cursor, dims []uint64) *chunks {
	f, rank := d.object.f, len(dims)
	k := &chunks{Dataset: d, dims: dims, shape: make([]uint64, rank), along: make([]uint64, rank), total: 1, done: visited{}}
	if version == 4 {
		k.flags = c.int(1)
	}
	if n := c.int(1); n != rank+1 || rank == 0 {
		fail("chunks of %d dimensions for data of %d", n-1, rank)
	}
	width := 4 // bytes of a length
	if version == 3 {
		k.address = f.address(c)
	} else {
		width = c.int(1)
	}
	for i := range k.shape {
		k.shape[i] = c.uint(width)
	}
	if version == 4 {
		c.uint(width)
		k.index = c.int(1)
	}
	k.size = count(k.shape)
	if k.size == 0 || k.size > d.most()/d.typ.size {
		fail("chunks of %v values are more than a file of %d bytes can hold", k.shape, len(f.b))
	}
	k.size *= d.typ.size
	for i := range k.along {
		k.along[i] = (dims[i] + k.shape[i] - 1) / k.shape[i]
		k.total *= k.along[i]
	}
	if k.total > d.most()/k.size || k.total > uint64(len(f.b)) {
		fail("%d chunks are more than a file of %d bytes can hold", k.total, len(f.b))
	}
	return k
}

// fill finds all chunks by the index, of which c reads the rest of the layout message.
func (k *chunks) fill(c *cursor) {
	f := k.object.f
	switch k.index {
	case 0:
		if k.address != none {
			k.btree1()
		}
	case 1: // a single chunk
		stored, mask := k.size, 0
		if k.flags&2 != 0 {
			stored, mask = f.length(c), c.int(4)
		}
		k.place(f.address(c), stored, mask, make([]uint64, len(k.dims)))
	case 2: // implicit: one after the other
		a := f.address(c)
		for n := range k.total {
			if a != none {
				k.place(a+n*k.size, k.size, 0, k.nth(n))
			}
		}
	case 3: // fixed array
		c.take(1)
		if a := f.address(c); a != none {
			k.fixedArray(a)
		}
	case 5: // version 2 B-tree
		c.take(6)
		k.btree2(f.address(c))
	default:
		fail("chunks by an extensible array: not read; `h5repack -l CHUNK=…` without libver=latest makes it anew")
	}
	if uint64(len(k.done)) != k.total {
		fail("%d of %d chunks were never written", k.total-uint64(len(k.done)), k.total)
	}
}

func (k *chunks) btree1() {
	keySize := uint64(8 + 8*(len(k.dims)+1))
	k.object.f.btree1(k.address, 1, func(c *cursor) { c.take(keySize) }, func(key []byte, child uint64) {
		c := &cursor{key}
		stored, mask := c.uint(4), c.int(4)
		at := make([]uint64, len(k.dims))
		for i := range at {
			at[i] = c.uint(8) / k.shape[i]
		}
		k.place(child, stored, mask, at)
	})
}

func (k *chunks) btree2(address uint64) {
	f, kind := k.object.f, 10
	if len(k.filters) > 0 {
		kind = 11
	}
	f.btree2(address, kind, func(r *cursor) {
		a, stored, mask := f.address(r), k.size, 0
		if kind == 11 {
			stored, mask = r.uint(len(r.b)-4-8*len(k.dims)), r.int(4)
		}
		at := make([]uint64, len(k.dims))
		for i := range at {
			at[i] = r.uint(8)
		}
		k.place(a, stored, mask, at)
	})
}

func (k *chunks) fixedArray(address uint64) {
	f := k.object.f
	c := f.at(address)
	c.expect("FAHD")
	c.take(1)
	client, entry, pageBits := c.int(1), c.int(1), c.int(1)
	n := f.length(c)
	c = f.at(f.address(c))
	if n < k.total || pageBits > 32 || entry < f.offsetSize {
		fail("a fixed array of %d entries for %d chunks", n, k.total)
	}
	c.expect("FADB")
	c.take(uint64(2 + f.offsetSize))
	page := uint64(1) << pageBits
	paged := n > page
	var used []byte
	if paged {
		used = c.take(((n+page-1)/page + 7) / 8)
		c.take(4)
	}
	for i := range k.total {
		if paged && i%page == 0 {
			if i > 0 {
				c.take(4)
			}
			if p := i / page; used[p/8]&(0x80>>(p%8)) == 0 {
				fail("a page of chunks was never written")
			}
		}
		e := &cursor{c.take(uint64(entry))}
		a, stored, mask := f.address(e), k.size, 0
		if client == 1 {
			stored, mask = e.uint(entry-f.offsetSize-4), e.int(4)
		}
		k.place(a, stored, mask, k.nth(i))
	}
}

// nth is the place of the n-th chunk, in chunks along each dimension.
func (k *chunks) nth(n uint64) []uint64 {
	at := make([]uint64, len(k.along))
	for i := len(at) - 1; i >= 0; i-- {
		at[i] = n % k.along[i]
		n /= k.along[i]
	}
	return at
}

// place takes a chunk of so many bytes from an address; mask tells the filters that were left out.
func (k *chunks) place(address, stored uint64, mask int, at []uint64) {
	if address == none {
		return
	}
	n := uint64(0)
	for i := range at {
		if at[i] >= k.along[i] {
			fail("a chunk beyond the data")
		}
		n = n*k.along[i] + at[i]
	}
	k.done.node(n)
	k.copy(k.unfilter(k.object.f.at(address).take(stored), mask, k.size), at)
}

// copy puts the part of chunk b that lies within the data in its place.
func (k *chunks) copy(b []byte, at []uint64) {
	last, e := len(k.dims)-1, k.typ.size
	run := min(k.shape[last], k.dims[last]-at[last]*k.shape[last])
	for row := range count(k.shape[:last]) {
		dst, rest, stride, inside := uint64(0), row, uint64(1), true
		for i := last - 1; i >= 0; i-- {
			x := at[i]*k.shape[i] + rest%k.shape[i]
			rest /= k.shape[i]
			if x >= k.dims[i] {
				inside = false
				break
			}
			stride *= k.dims[i+1]
			dst += x * stride
		}
		if inside {
			dst += at[last] * k.shape[last]
			copy(k.out[dst*e:(dst+run)*e], b[row*k.shape[last]*e:])
		}
	}
}
