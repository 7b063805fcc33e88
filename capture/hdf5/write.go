package hdf5

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode"
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
	f := &netCDF{encoder: encoder{b: make([]byte, 48), order: binary.LittleEndian}, scale: map[string]uint64{}, length: map[string]int{}}
	for _, d := range dims {
		if err := f.dimension(d); err != nil {
			return err
		}
	}
	if err := f.references(variables); err != nil {
		return err
	}
	for _, v := range variables {
		if err := f.variable(v); err != nil {
			return err
		}
	}
	root, err := f.root(attributes)
	if err != nil {
		return err
	}
	super := &encoder{order: f.order}
	super.raw(magic).u(1, 2).u(1, 8).u(1, 8).u(1, 0).u(8, 0).u(8, none).u(8, f.here()).u(8, root)
	super.sum(0)
	copy(f.b, super.b)
	_, err = w.Write(f.b)
	return err
}

// netCDF is a file that is being written.
type netCDF struct {
	encoder
	scale  map[string]uint64 // address of the scale of each dimension
	length map[string]int    // of each dimension
	heap   uint64            // address of the references to scales, in the order of the variables
	used   int               // of those references
	names  []string          // of the objects of the root group
	at     []uint64          // their addresses
}

// dimension writes the scale of a dimension.
func (f *netCDF) dimension(d Dimension) error {
	if d.Len < 1 || f.length[d.Name] > 0 {
		return fmt.Errorf("HDF5: dimension %q of %d: want a name of its own and at least 1", d.Name, d.Len)
	}
	header, err := dataset([]uint64{uint64(d.Len)}, floatType(4), none, 4*uint64(d.Len), [][2]string{
		{"CLASS", "DIMENSION_SCALE\x00"}, {"NAME", fmt.Sprintf("This is a netCDF dimension but not a netCDF variable. %9d\x00", d.Len)}}, nil)
	if err != nil {
		return err
	}
	at := f.object(header)
	f.scale[d.Name], f.length[d.Name] = at, d.Len
	f.names, f.at = append(f.names, d.Name), append(f.at, at)
	return nil
}

// references writes the global heap: one object per reference to a scale.
func (f *netCDF) references(variables []Variable) error {
	var scales []uint64
	for _, v := range variables {
		for _, d := range v.Dimensions {
			at, ok := f.scale[d]
			if !ok {
				return fmt.Errorf("HDF5: variable %s has the dimension %q, which is not declared", v.Name, d)
			}
			scales = append(scales, at)
		}
	}
	f.heap = f.here()
	size := max(4096, 16+24*len(scales)+16)
	f.raw("GCOL").u(1, 1).u(3, 0).u(8, uint64(size))
	for i, at := range scales {
		f.u(2, uint64(i+1)).u(2, 1).u(4, 0).u(8, 8).u(8, at)
	}
	free := size - 16 - 24*len(scales)
	f.u(8, 0).u(8, uint64(free))
	f.b = append(f.b, make([]byte, free-16)...)
	return nil
}

// variable writes a variable with the next references of the heap.
func (f *netCDF) variable(v Variable) error {
	var shape []uint64
	n := 1
	list := &encoder{order: f.order}
	for _, d := range v.Dimensions {
		shape, n = append(shape, uint64(f.length[d])), n*f.length[d]
		f.used++
		list.u(4, 1).u(8, f.heap).u(4, uint64(f.used))
	}
	if n != len(v.Values) {
		return fmt.Errorf("HDF5: variable %s has %d values, its dimensions ask for %d", v.Name, len(v.Values), n)
	}
	data := f.here()
	for _, x := range v.Values {
		f.u(8, math.Float64bits(x))
	}
	header, err := dataset(shape, floatType(8), data, 8*uint64(n), v.Attributes, list.b)
	if err != nil {
		return fmt.Errorf("%s: %w", v.Name, err)
	}
	f.names, f.at = append(f.names, v.Name), append(f.at, f.object(header))
	return nil
}

// root writes the root group, and returns its address.
func (f *netCDF) root(attributes [][2]string) (uint64, error) {
	links, tree, err := f.links(f.names, f.at)
	if err != nil {
		return 0, err
	}
	root := &encoder{order: f.order}
	root.message(msgLinkInfo, (&encoder{order: f.order}).u(1, 0).u(1, 1).u(8, uint64(len(f.names))).u(8, links).u(8, tree).b)
	root.message(msgGroupInfo, []byte{0, 0})
	if slices.ContainsFunc(attributes, func(a [2]string) bool { return len(a[1]) > compactText }) {
		heap, tree, err := f.denseAttributes(attributes)
		if err != nil {
			return 0, err
		}
		root.message(msgAttrInfo, (&encoder{order: f.order}).u(1, 0).u(1, 0).u(8, heap).u(8, tree).b)
	} else if err := root.attributes(attributes); err != nil {
		return 0, err
	}
	return f.object(root.b), nil
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
		e.message(msgAttribute, attributeMessage("DIMENSION_LIST", vlen, dataspace([]uint64{uint64(len(shape))}), scales))
	}
	return e.b, nil
}

const (
	// compactText is the longest text that stands in an object header, where libmysofa
	// takes no longer one; with a longer one all of the object's stand in a heap.
	compactText = 64
	maxText     = 60000

	asciiText, utf8Text = 0, 0x10 // bits of the datatype
)

func (e *encoder) attributes(attributes [][2]string) error {
	for _, a := range attributes {
		b, err := textAttribute(a, utf8Text)
		if err != nil {
			return err
		}
		e.message(msgAttribute, b)
	}
	return nil
}

// textAttribute is the attribute message of a name and a text.
func textAttribute(a [2]string, bits uint64) ([]byte, error) {
	text := a[1]
	if len(text) > maxText {
		return nil, fmt.Errorf("HDF5: the text of %s has %d bytes: at most %d fit", a[0], len(text), maxText)
	}
	if text == "" {
		text = "\x00"
	}
	typ := (&encoder{order: binary.LittleEndian}).u(1, 0x13).u(3, bits).u(4, uint64(len(text))).b
	return attributeMessage(a[0], typ, dataspace(nil), []byte(text)), nil
}

func attributeMessage(name string, typ, space, data []byte) []byte {
	m := &encoder{order: binary.LittleEndian}
	m.u(1, 3).u(1, 0).u(2, uint64(len(name)+1)).u(2, uint64(len(typ))).u(2, uint64(len(space))).u(1, 0).raw(name + "\x00")
	return append(append(append(m.b, typ...), space...), data...)
}

// denseAttributes writes texts as attributes in a heap with the B-tree of their names. Texts of ASCII
// say so: libmysofa reads no others there.
func (e *encoder) denseAttributes(attributes [][2]string) (heap, tree uint64, err error) {
	var objects [][]byte
	for _, a := range attributes {
		bits := uint64(asciiText)
		if strings.ContainsFunc(a[1], func(r rune) bool { return r > unicode.MaxASCII }) {
			bits = utf8Text
		}
		b, err := textAttribute(a, bits)
		if err != nil {
			return 0, 0, err
		}
		objects = append(objects, b)
	}
	return e.dense(denseHeap{idLength: 8, offset: 5, tree: 8, record: 17}, objects, func(i int, id []byte) (uint32, []byte) {
		hash := lookup3([]byte(attributes[i][0]))
		return hash, append(id, (&encoder{order: e.order}).u(1, 0).u(4, uint64(i)).u(4, uint64(hash)).b...)
	})
}

// links writes the links of the root group in a heap with the B-tree of their names.
func (e *encoder) links(names []string, at []uint64) (heap, tree uint64, err error) {
	var objects [][]byte
	for i, name := range names {
		if len(name) == 0 || len(name) > 255 {
			return 0, 0, fmt.Errorf("HDF5: the name %q: want 1 to 255 bytes", name)
		}
		objects = append(objects, (&encoder{order: e.order}).u(1, 1).u(1, 4).u(8, uint64(i)).u(1, uint64(len(name))).raw(name).u(8, at[i]).b)
	}
	return e.dense(denseHeap{idLength: 7, offset: 4, tree: 5, record: 11}, objects, func(i int, id []byte) (uint32, []byte) {
		hash := lookup3([]byte(names[i]))
		return hash, append((&encoder{order: e.order}).u(4, uint64(hash)).b, id...)
	})
}

// denseHeap is how the objects of a heap are found.
type denseHeap struct {
	idLength, offset int // bytes of an object's id, and of its offset in the heap
	tree, record     int // type and length of the B-tree's records
}

// dense writes objects in a fractal heap of one direct block, and the B-tree of their records,
// which record makes of an object's id beside the hash by which they are sorted. It returns the addresses of both.
func (e *encoder) dense(h denseHeap, objects [][]byte, record func(i int, id []byte) (uint32, []byte)) (heap, tree uint64, err error) {
	const node, least, most = 4096, 8192, 65536
	head := 4 + 1 + 8 + h.offset + 4
	type entry struct {
		hash uint32
		b    []byte
	}
	var entries []entry
	content := &encoder{order: e.order}
	for i, o := range objects {
		id := (&encoder{order: e.order}).u(1, 0).u(h.offset, uint64(head)+content.here()).u(2, uint64(len(o))).b
		hash, b := record(i, id)
		entries = append(entries, entry{hash, b})
		content.b = append(content.b, o...)
	}
	block := least
	for block < most && block < head+len(content.b) {
		block *= 2
	}
	free := block - head - len(content.b)
	if free < 0 || 10+h.record*len(objects) > node {
		return 0, 0, fmt.Errorf("HDF5: %d variables, dimensions or texts of %d bytes are too many", len(objects), len(content.b))
	}
	longest := 4096
	for _, o := range objects {
		longest = max(longest, len(o))
	}
	heap = e.here()
	const headerSize = 146
	root := heap + headerSize
	size := uint64(block)
	e.raw("FRHP").u(1, 0).u(2, uint64(h.idLength)).u(2, 0).u(1, 2).u(4, uint64(longest)).u(8, 0).u(8, none).u(8, uint64(free)).u(8, none)
	e.u(8, size).u(8, size).u(8, size).u(8, uint64(len(objects))).u(8, 0).u(8, 0).u(8, 0).u(8, 0)
	e.u(2, 4).u(8, size).u(8, most).u(2, uint64(8*h.offset)).u(2, 1).u(8, root).u(2, 0)
	e.sum(heap)
	d := &encoder{order: e.order}
	d.raw("FHDB").u(1, 0).u(8, heap).u(h.offset, 0).u(4, 0)
	d.b = append(append(d.b, content.b...), make([]byte, free)...)
	e.order.AppendUint32(d.b[:head-4], lookup3(d.b))
	e.b = append(e.b, d.b...)
	slices.SortFunc(entries, func(a, b entry) int { return cmp.Compare(a.hash, b.hash) })
	leaf := e.here()
	e.raw("BTLF").u(1, 0).u(1, uint64(h.tree))
	for _, r := range entries {
		e.b = append(e.b, r.b...)
	}
	e.sum(leaf)
	e.b = append(e.b, make([]byte, int(leaf)+node-len(e.b))...)
	tree = e.here()
	e.raw("BTHD").u(1, 0).u(1, uint64(h.tree)).u(4, node).u(2, uint64(h.record)).u(2, 0).u(1, 100).u(1, 40).u(8, leaf).u(2, uint64(len(entries))).u(8, uint64(len(entries)))
	e.sum(tree)
	return heap, tree, nil
}
