package hdf5

import (
	"bytes"
	"slices"
	"strings"
)

// Kinds of object header messages (format specification IV.A.2).
const (
	msgDataspace    = 0x01
	msgLinkInfo     = 0x02
	msgDatatype     = 0x03
	msgFill         = 0x05
	msgLink         = 0x06
	msgLayout       = 0x08
	msgGroupInfo    = 0x0a
	msgFilters      = 0x0b
	msgAttribute    = 0x0c
	msgContinuation = 0x10
	msgSymbolTable  = 0x11
	msgAttrInfo     = 0x15
)

type message struct {
	kind   int
	shared bool
	b      []byte
}

// object is an object header: its messages, and its attributes by name.
type object struct {
	f          *image
	messages   []message
	attributes map[string]attribute
}

func (o object) find(kind int) *cursor {
	for _, m := range o.messages {
		if m.kind == kind {
			if m.shared {
				fail("a shared header message (committed datatype): not read")
			}
			return &cursor{m.b}
		}
	}
	return nil
}

// object reads the object header at an address.
func (f *image) object(address uint64) object {
	o := object{f: f, attributes: map[string]attribute{}}
	c := f.at(address)
	seen := visited{}
	seen.node(address)
	if bytes.HasPrefix(c.b, []byte("OHDR")) {
		f.headerV2(&o, c, seen)
	} else {
		f.headerV1(&o, c, seen)
	}
	for _, m := range o.messages {
		switch {
		case m.shared:
		case m.kind == msgAttribute:
			o.addAttribute(m.b)
		case m.kind == msgAttrInfo:
			f.denseAttributes(&o, &cursor{m.b})
		}
	}
	return o
}

func (f *image) headerV1(o *object, c *cursor, seen visited) {
	if v := c.int(1); v != 1 {
		fail("object header version %d", v)
	}
	c.take(1 + 2 + 4)
	blocks := []*cursor{nil}
	n := c.uint(4)
	c.take(4)
	blocks[0] = &cursor{c.take(n)}
	for len(blocks) > 0 {
		b := blocks[0]
		blocks = blocks[1:]
		for len(b.b) >= 8 {
			kind, n, flags := b.int(2), b.uint(2), b.int(1)
			b.take(3)
			m := message{kind, flags&2 != 0, b.take(n)}
			if kind != msgContinuation {
				o.messages = append(o.messages, m)
				continue
			}
			next := &cursor{m.b}
			a, n := f.address(next), f.length(next)
			seen.node(a)
			blocks = append(blocks, &cursor{f.at(a).take(n)})
		}
	}
}

func (f *image) headerV2(o *object, c *cursor, seen visited) {
	whole := c.b
	c.expect("OHDR")
	if v := c.int(1); v != 2 {
		fail("object header version %d", v)
	}
	flags := c.int(1)
	if flags&0x20 != 0 {
		c.take(16)
	}
	if flags&0x10 != 0 {
		c.take(4)
	}
	n := c.uint(1 << (flags & 3))
	blocks := []*cursor{{c.take(n)}}
	verify(whole[:len(whole)-len(c.b)], c)
	for len(blocks) > 0 {
		b := blocks[0]
		blocks = blocks[1:]
		for len(b.b) >= 4 {
			kind, n, how := b.int(1), b.uint(2), b.int(1)
			if flags&4 != 0 {
				b.take(2)
			}
			m := message{kind, how&2 != 0, b.take(n)}
			if kind != msgContinuation {
				o.messages = append(o.messages, m)
				continue
			}
			next := &cursor{m.b}
			a, n := f.address(next), f.length(next)
			seen.node(a)
			if n < 8 {
				fail("a header continuation of %d bytes", n)
			}
			block := f.at(a).take(n)
			verify(block[:n-4], &cursor{block[n-4:]})
			part := &cursor{block[:n-4]}
			part.expect("OCHK")
			blocks = append(blocks, part)
		}
	}
}

// verify holds metadata against the checksum that follows.
func verify(b []byte, c *cursor) {
	if c.uint(4) != uint64(lookup3(b)) {
		fail("a checksum of the header does not fit: the file is damaged")
	}
}

type attribute struct {
	typ  datatype
	dims []uint64
	data []byte
}

func (o *object) addAttribute(b []byte) {
	c := &cursor{b}
	version, flags := c.int(1), c.int(1)
	if version < 1 || version > 3 {
		fail("attribute version %d", version)
	}
	nameN, typeN, spaceN := c.uint(2), c.uint(2), c.uint(2)
	if version == 3 {
		c.take(1)
	}
	part := func(n uint64) []byte {
		p := c.take(n)
		if pad := -n % 8; version == 1 && pad > 0 {
			c.take(pad)
		}
		return p
	}
	name, _, _ := strings.Cut(string(part(nameN)), "\x00")
	typ, space := part(typeN), part(spaceN)
	if version > 1 && flags&3 != 0 {
		return // of a committed type
	}
	o.attributes[name] = attribute{readType(&cursor{typ}), o.f.dataspace(&cursor{space}), c.b}
}

func (o object) names() []string {
	var names []string
	for n := range o.attributes {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

func (o object) text(name string) (s string, err error) {
	defer catch(&err)
	a, ok := o.attributes[name]
	if !ok {
		return "", nil
	}
	switch n := count(a.dims); {
	case n == 0:
		return "", nil
	case n != 1:
		fail("attribute %s holds %d values: want one text", name, n)
	}
	c := &cursor{a.data}
	switch a.typ.class {
	case classString:
		text, _, _ := strings.Cut(string(c.take(a.typ.size)), "\x00")
		if a.typ.bits&15 == 2 { // padded with spaces
			text = strings.TrimRight(text, " ")
		}
		return text, nil
	case classVlen:
		if a.typ.bits&15 != 1 {
			break
		}
		n := c.uint(4)
		address, index := o.f.address(c), c.uint(4)
		if n == 0 {
			return "", nil
		}
		text, _, _ := strings.Cut(string((&cursor{o.f.globalHeap(address, index)}).take(n)), "\x00")
		return text, nil
	}
	fail("attribute %s is no text", name)
	return "", nil
}

// denseAttributes adds the attributes that lie in a fractal heap.
func (f *image) denseAttributes(o *object, c *cursor) {
	c.take(1)
	if flags := c.int(1); flags&1 != 0 {
		c.take(2)
	}
	heap, tree := f.address(c), f.address(c)
	if heap == none || tree == none {
		return
	}
	h := f.fractalHeap(heap)
	f.btree2(tree, 8, func(record *cursor) {
		id := record.take(uint64(h.idLength))
		if flags := record.int(1); flags&2 != 0 {
			return // shared
		}
		o.addAttribute(h.object(id))
	})
}
