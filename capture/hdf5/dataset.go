package hdf5

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"math"
	"slices"
)

// Dataset is an array of numbers with its attributes.
type Dataset struct {
	Shape []int // empty for a single number

	object  object
	typ     datatype
	filters []filter
	layout  *cursor
}

type filter struct{ id, client int } // client: the first value of the client's data, 0 for none

// Filters (format specification IV.A.2.l).
const (
	filterDeflate    = 1
	filterShuffle    = 2
	filterFletcher32 = 3
)

func (f *image) dataset(o object) *Dataset {
	space, typ, layout := o.find(msgDataspace), o.find(msgDatatype), o.find(msgLayout)
	if space == nil || typ == nil || layout == nil {
		fail("the object is no data set")
	}
	d := &Dataset{object: o, typ: readType(typ), layout: layout}
	dims := f.dataspace(space)
	count(dims)
	for _, n := range dims {
		d.Shape = append(d.Shape, int(n))
	}
	if c := o.find(msgFilters); c != nil {
		version, n := c.int(1), c.int(1)
		if version == 1 {
			c.take(6)
		}
		for range n {
			id, name := c.int(2), uint64(0)
			if version == 1 || id >= 256 {
				name = c.uint(2)
			}
			c.take(2)
			values := c.int(2)
			c.take(name)
			if version == 1 {
				c.take(-name % 8)
			}
			fl := filter{id: id}
			for i := range values {
				if v := c.int(4); i == 0 {
					fl.client = v
				}
			}
			if version == 1 && values%2 == 1 {
				c.take(4)
			}
			d.filters = append(d.filters, fl)
		}
	}
	return d
}

// Attributes returns the names of the attributes, sorted.
func (d *Dataset) Attributes() []string { return d.object.names() }

// Text returns a text attribute, as File.Text does.
func (d *Dataset) Text(name string) (string, error) { return d.object.text(name) }

// Values returns the numbers, the last dimension running fastest.
func (d *Dataset) Values() (v []float64, err error) {
	defer catch(&err)
	raw := d.raw()
	order := binary.ByteOrder(binary.LittleEndian)
	if d.typ.bits&1 != 0 {
		order = binary.BigEndian
	}
	n, signed := int(d.typ.size), d.typ.bits&8 != 0
	var number func([]byte) float64
	switch {
	case d.typ.class == classFloat && n == 8:
		number = func(b []byte) float64 { return math.Float64frombits(order.Uint64(b)) }
	case d.typ.class == classFloat && n == 4:
		number = func(b []byte) float64 { return float64(math.Float32frombits(order.Uint32(b))) }
	case d.typ.class == classInteger && (n == 1 || n == 2 || n == 4 || n == 8):
		number = func(b []byte) float64 {
			var u uint64
			for i := range b {
				j := i
				if order == binary.ByteOrder(binary.LittleEndian) {
					j = n - 1 - i
				}
				u = u<<8 | uint64(b[j])
			}
			if shift := 64 - 8*n; signed {
				return float64(int64(u<<shift) >> shift)
			}
			return float64(u)
		}
	default:
		fail("a datatype of class %d and %d bytes: want whole or IEEE numbers", d.typ.class, n)
	}
	v = make([]float64, len(raw)/n)
	for i := range v {
		v[i] = number(raw[i*n : (i+1)*n])
	}
	return v, nil
}

// deflateMost is how many bytes one byte of a deflate stream can become
// (zlib's technical details: 1032 to 1).
const deflateMost = 1032

// most is how many bytes of data the file can hold at all.
func (d *Dataset) most() uint64 {
	n := uint64(len(d.object.f.b))
	if slices.ContainsFunc(d.filters, func(fl filter) bool { return fl.id == filterDeflate }) {
		n *= deflateMost
	}
	return n
}

// raw returns the bytes of the elements in order.
func (d *Dataset) raw() []byte {
	f, c := d.object.f, &cursor{d.layout.b}
	dims := make([]uint64, len(d.Shape))
	for i, n := range d.Shape {
		dims[i] = uint64(n)
	}
	n := count(dims)
	if n == 0 {
		return nil
	}
	limit := d.most()
	if d.typ.size > limit || n > limit/d.typ.size {
		fail("%d values of %d bytes are more than a file of %d bytes can hold", n, d.typ.size, len(f.b))
	}
	bytes := n * d.typ.size
	version, class := c.int(1), c.int(1)
	if version != 3 && version != 4 {
		fail("data layout version %d; h5repack makes it anew", version)
	}
	switch class {
	case 0:
		c.take(2)
		return c.take(bytes)
	case 1:
		a := f.address(c)
		if a == none {
			fail("data that were never written")
		}
		return f.at(a).take(bytes)
	case 2:
		k := d.chunks(version, c, dims)
		k.out = make([]byte, bytes)
		k.fill(c)
		return k.out
	}
	fail("data layout class %d (virtual): not read", class)
	return nil
}

// unfilter undoes the filters; the result has the given size.
func (d *Dataset) unfilter(b []byte, mask int, whole uint64) []byte {
	for i := len(d.filters) - 1; i >= 0; i-- {
		if mask>>i&1 != 0 {
			continue
		}
		switch fl := d.filters[i]; fl.id {
		case filterDeflate:
			z, err := zlib.NewReader(bytes.NewReader(b))
			if err != nil {
				fail("a chunk does not inflate: %v", err)
			}
			var plain bytes.Buffer
			if _, err := io.Copy(&plain, io.LimitReader(z, int64(whole)+4)); err != nil {
				fail("a chunk does not inflate: %v", err)
			}
			b = plain.Bytes()
		case filterShuffle:
			b = unshuffle(b, int(d.typ.size))
		case filterFletcher32:
			if len(b) < 4 {
				fail("a chunk of %d bytes", len(b))
			}
			sum := binary.LittleEndian.Uint32(b[len(b)-4:])
			if b = b[:len(b)-4]; fletcher32(b) != sum {
				fail("the checksum of a chunk does not fit: the file is damaged")
			}
		default:
			fail("filter %d: shuffle, deflate and fletcher32 are read; `h5repack -f GZIP=5` makes the file anew", fl.id)
		}
	}
	if uint64(len(b)) != whole {
		fail("a chunk of %d bytes where %d belong", len(b), whole)
	}
	return b
}

// unshuffle puts the bytes of each element together again.
func unshuffle(b []byte, size int) []byte {
	n := len(b) / size
	out := make([]byte, len(b))
	for k := range size {
		for i, v := range b[k*n : (k+1)*n] {
			out[i*size+k] = v
		}
	}
	copy(out[n*size:], b[n*size:])
	return out
}

// fletcher32 is Fletcher's checksum over 16-bit words, big end first, with
// sums modulo 65535 in which only nothing but zeros gives 0.
func fletcher32(b []byte) uint32 {
	var s1, s2 uint32
	fold := func(s uint32) uint32 { return s&0xffff + s>>16 }
	for len(b) > 0 {
		w := uint32(b[0]) << 8
		if len(b) > 1 {
			w |= uint32(b[1])
		}
		b = b[min(2, len(b)):]
		s1 = fold(s1 + w)
		s2 = fold(s2 + s1)
	}
	return s2<<16 | s1
}
