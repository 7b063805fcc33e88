package hdf5

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
)

// Dimension is a named dimension of the netCDF-4 model.
type Dimension struct {
	Name string
	Len  int
}

// Variable is an array of float64, the last dimension running fastest.
type Variable struct {
	Name       string
	Dimensions []string
	Attributes [][2]string // name, text
	Values     []float64
}

// Write writes dimensions, attributes of the root group and variables as a
// netCDF-4 file: superblock 2, dense links in creation order, contiguous data,
// dimension scales. Same input, same bytes. A text longer than 60000 bytes does
// not fit an object header and is refused.
func Write(w io.Writer, dims []Dimension, attributes [][2]string, variables []Variable) error {
	e := &encoder{b: make([]byte, 48), order: binary.LittleEndian}
	var names []string
	scale, length := map[string]uint64{}, map[string]int{}
	references := 0
	for _, v := range variables {
		references += len(v.Dimensions)
	}
	var at []uint64
	for _, d := range dims {
		if d.Len < 1 || length[d.Name] > 0 {
			return fmt.Errorf("HDF5: dimension %q of %d: want a name of its own and at least 1", d.Name, d.Len)
		}
		length[d.Name] = d.Len
		header, err := dataset([]uint64{uint64(d.Len)}, floatType(4), none, 4*uint64(d.Len), [][2]string{
			{"CLASS", "DIMENSION_SCALE\x00"}, {"NAME", fmt.Sprintf("This is a netCDF dimension but not a netCDF variable. %9d\x00", d.Len)}}, nil)
		if err != nil {
			return err
		}
		scale[d.Name] = e.object(header)
		names, at = append(names, d.Name), append(at, scale[d.Name])
	}
	// The global heap: one object per reference to a scale.
	heap := e.here()
	collection := max(4096, 16+24*references+16)
	e.raw("GCOL").u(1, 1).u(3, 0).u(8, uint64(collection))
	index := 0
	for _, v := range variables {
		for _, d := range v.Dimensions {
			if length[d] == 0 {
				return fmt.Errorf("HDF5: variable %s has the dimension %q, which is not declared", v.Name, d)
			}
			index++
			e.u(2, uint64(index)).u(2, 1).u(4, 0).u(8, 8).u(8, scale[d])
		}
	}
	free := collection - 16 - 24*references
	e.u(8, 0).u(8, uint64(free))
	e.b = append(e.b, make([]byte, free-16)...)
	index = 0
	for _, v := range variables {
		shape, n := []uint64{}, 1
		for _, d := range v.Dimensions {
			shape, n = append(shape, uint64(length[d])), n*length[d]
		}
		if n != len(v.Values) {
			return fmt.Errorf("HDF5: variable %s has %d values, its dimensions ask for %d", v.Name, len(v.Values), n)
		}
		data := e.here()
		for _, x := range v.Values {
			e.u(8, math.Float64bits(x))
		}
		list := &encoder{order: e.order}
		for range v.Dimensions {
			index++
			list.u(4, 1).u(8, heap).u(4, uint64(index))
		}
		header, err := dataset(shape, floatType(8), data, 8*uint64(n), v.Attributes, list.b)
		if err != nil {
			return fmt.Errorf("%s: %w", v.Name, err)
		}
		names, at = append(names, v.Name), append(at, e.object(header))
	}
	links, tree, err := e.links(names, at)
	if err != nil {
		return err
	}
	root := &encoder{order: e.order}
	root.message(msgLinkInfo, (&encoder{order: e.order}).u(1, 0).u(1, 1).u(8, uint64(len(names))).u(8, links).u(8, tree).b)
	root.message(msgGroupInfo, []byte{0, 0})
	if err := root.attributes(attributes); err != nil {
		return err
	}
	rootAt := e.object(root.b)
	super := &encoder{order: e.order}
	super.raw(magic).u(1, 2).u(1, 8).u(1, 8).u(1, 0).u(8, 0).u(8, none).u(8, e.here()).u(8, rootAt)
	super.sum(0)
	copy(e.b, super.b)
	_, err = w.Write(e.b)
	return err
}

// encoder appends little-endian values.
type encoder struct {
	b     []byte
	order binary.AppendByteOrder
}

func (e *encoder) here() uint64 { return uint64(len(e.b)) }

func (e *encoder) raw(s string) *encoder {
	e.b = append(e.b, s...)
	return e
}

// u appends n bytes of v.
func (e *encoder) u(n int, v uint64) *encoder {
	e.b = append(e.b, e.order.AppendUint64(nil, v)[:n]...)
	return e
}

// sum appends the checksum of what was written from an address on.
func (e *encoder) sum(from uint64) *encoder { return e.u(4, uint64(lookup3(e.b[from:]))) }

// object appends an object header of the given messages and returns its address.
func (e *encoder) object(messages []byte) uint64 {
	e.b = append(e.b, make([]byte, -len(e.b)&7)...)
	at := e.here()
	e.raw("OHDR").u(1, 2).u(1, 2).u(4, uint64(len(messages)))
	e.b = append(e.b, messages...)
	e.sum(at)
	return at
}

func (e *encoder) message(kind int, b []byte) {
	e.u(1, uint64(kind)).u(2, uint64(len(b))).u(1, 0)
	e.b = append(e.b, b...)
}

// floatType is the datatype message of an IEEE number of 4 or 8 bytes.
func floatType(size int) []byte {
	if size == 4 {
		return []byte{0x11, 0x20, 31, 0, 4, 0, 0, 0, 0, 0, 32, 0, 23, 8, 0, 23, 127, 0, 0, 0}
	}
	return []byte{0x11, 0x20, 63, 0, 8, 0, 0, 0, 0, 0, 64, 0, 52, 11, 0, 52, 255, 3, 0, 0}
}

func dataspace(shape []uint64) []byte {
	kind := uint64(1)
	if len(shape) == 0 {
		kind = 0
	}
	e := &encoder{order: binary.LittleEndian}
	e.u(1, 2).u(1, uint64(len(shape))).u(1, 0).u(1, kind)
	for _, n := range shape {
		e.u(8, n)
	}
	return e.b
}

// dataset returns the messages of a data set; scales is the value of its
// DIMENSION_LIST, nil for none.
func dataset(shape []uint64, typ []byte, data, size uint64, attributes [][2]string, scales []byte) ([]byte, error) {
	e := &encoder{order: binary.LittleEndian}
	e.message(msgDataspace, dataspace(shape))
	e.message(msgDatatype, typ)
	e.message(msgFill, []byte{3, 0x0a})
	e.message(msgLayout, (&encoder{order: e.order}).u(1, 3).u(1, 1).u(8, data).u(8, size).b)
	if err := e.attributes(attributes); err != nil {
		return nil, err
	}
	if len(scales) > 0 {
		vlen := []byte{0x19, 0, 0, 0, 16, 0, 0, 0, 0x17, 0, 0, 0, 8, 0, 0, 0}
		e.attribute("DIMENSION_LIST", vlen, dataspace([]uint64{uint64(len(shape))}), scales)
	}
	return e.b, nil
}

func (e *encoder) attributes(attributes [][2]string) error {
	for _, a := range attributes {
		text := a[1]
		if len(text) > 60000 {
			return fmt.Errorf("HDF5: the text of %s has %d bytes: at most 60000 fit", a[0], len(text))
		}
		if text == "" {
			text = "\x00"
		}
		typ := (&encoder{order: e.order}).u(1, 0x13).u(3, 0x10).u(4, uint64(len(text))).b
		e.attribute(a[0], typ, dataspace(nil), []byte(text))
	}
	return nil
}

func (e *encoder) attribute(name string, typ, space, data []byte) {
	m := &encoder{order: e.order}
	m.u(1, 3).u(1, 0).u(2, uint64(len(name)+1)).u(2, uint64(len(typ))).u(2, uint64(len(space))).u(1, 0).raw(name + "\x00")
	m.b = append(append(append(m.b, typ...), space...), data...)
	e.message(msgAttribute, m.b)
}

// links writes the links of the root group: a fractal heap of one direct block
// and the B-tree of their names. It returns the addresses of both.
func (e *encoder) links(names []string, at []uint64) (heap, tree uint64, err error) {
	const block, head, idLength = 8192, 4 + 1 + 8 + 4 + 4, 7
	type record struct {
		hash uint32
		id   []byte
	}
	var records []record
	objects := &encoder{order: e.order}
	for i, name := range names {
		if len(name) == 0 || len(name) > 255 {
			return 0, 0, fmt.Errorf("HDF5: the name %q: want 1 to 255 bytes", name)
		}
		from := objects.here()
		objects.u(1, 1).u(1, 4).u(8, uint64(i)).u(1, uint64(len(name))).raw(name).u(8, at[i])
		id := (&encoder{order: e.order}).u(1, 0).u(4, head+from).u(2, objects.here()-from)
		records = append(records, record{lookup3([]byte(name)), id.b})
	}
	free := block - head - len(objects.b)
	const node = 4096
	if free < 0 || 10+11*len(records) > node {
		return 0, 0, fmt.Errorf("HDF5: %d variables and dimensions are too many", len(names))
	}
	heap = e.here()
	const headerSize = 146
	root := heap + headerSize
	e.raw("FRHP").u(1, 0).u(2, idLength).u(2, 0).u(1, 2).u(4, 4096).u(8, 0).u(8, none).u(8, uint64(free)).u(8, none)
	e.u(8, block).u(8, block).u(8, block).u(8, uint64(len(names))).u(8, 0).u(8, 0).u(8, 0).u(8, 0)
	e.u(2, 4).u(8, block).u(8, 65536).u(2, 32).u(2, 1).u(8, root).u(2, 0)
	e.sum(heap)
	d := &encoder{order: e.order}
	d.raw("FHDB").u(1, 0).u(8, heap).u(4, 0).u(4, 0)
	d.b = append(append(d.b, objects.b...), make([]byte, free)...)
	e.order.AppendUint32(d.b[:head-4], lookup3(d.b))
	e.b = append(e.b, d.b...)
	slices.SortFunc(records, func(a, b record) int { return cmp.Compare(a.hash, b.hash) })
	leaf := e.here()
	e.raw("BTLF").u(1, 0).u(1, 5)
	for _, r := range records {
		e.u(4, uint64(r.hash))
		e.b = append(e.b, r.id...)
	}
	e.sum(leaf)
	e.b = append(e.b, make([]byte, int(leaf)+node-len(e.b))...)
	tree = e.here()
	e.raw("BTHD").u(1, 0).u(1, 5).u(4, node).u(2, 11).u(2, 0).u(1, 100).u(1, 40).u(8, leaf).u(2, uint64(len(records))).u(8, uint64(len(records)))
	e.sum(tree)
	return heap, tree, nil
}
