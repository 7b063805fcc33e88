package hdf5

import "bytes"

// children returns the hard links of a group.
func (f *image) children(o object) []link {
	var links []link
	add := func(b []byte) {
		if l, hard := f.link(b); hard {
			links = append(links, l)
		}
	}
	for _, m := range o.messages {
		c := &cursor{m.b}
		switch m.kind {
		case msgLink:
			add(m.b)
		case msgLinkInfo:
			c.take(1)
			if flags := c.int(1); flags&1 != 0 {
				c.take(8)
			}
			heap, tree := f.address(c), f.address(c)
			if heap == none || tree == none {
				continue
			}
			h := f.fractalHeap(heap)
			f.btree2(tree, 5, func(record *cursor) {
				record.take(4)
				add(h.object(record.b))
			})
		case msgSymbolTable:
			tree, heap := f.address(c), f.address(c)
			links = append(links, f.symbols(tree, f.localHeap(heap))...)
		}
	}
	return links
}

func (f *image) link(b []byte) (l link, hard bool) {
	c := &cursor{b}
	if v := c.int(1); v != 1 {
		fail("link version %d", v)
	}
	flags, kind := c.int(1), 0
	if flags&8 != 0 {
		kind = c.int(1)
	}
	if flags&4 != 0 {
		c.take(8)
	}
	if flags&16 != 0 {
		c.take(1)
	}
	l.name = string(c.take(c.uint(1 << (flags & 3))))
	if kind != 0 {
		return l, false
	}
	l.address = f.address(c)
	return l, true
}

func (f *image) localHeap(address uint64) []byte {
	c := f.at(address)
	c.expect("HEAP")
	c.take(4)
	n := f.length(c)
	f.length(c)
	return f.at(f.address(c)).take(n)
}

// symbols reads the symbol table of an old-style group.
func (f *image) symbols(tree uint64, names []byte) []link {
	var links []link
	f.btree1(tree, 0, func(c *cursor) { f.length(c) }, func(_ []byte, child uint64) {
		c := f.at(child)
		c.expect("SNOD")
		c.take(2)
		for range c.int(2) {
			at, address := f.address(c), f.address(c)
			c.take(24)
			if at >= uint64(len(names)) {
				fail("a name at %d of a heap of %d bytes", at, len(names))
			}
			name := names[at:]
			if end := bytes.IndexByte(name, 0); end >= 0 {
				name = name[:end]
			}
			if len(name) > 4096 {
				fail("a name of %d bytes", len(name))
			}
			links = append(links, link{string(name), address})
		}
	})
	return links
}

type link struct {
	name    string
	address uint64
}
