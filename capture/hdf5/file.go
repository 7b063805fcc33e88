// Package hdf5 reads and writes the part of HDF5 that AES69 (SOFA) files use:
// one group of numeric data sets with attributes and dimension scales, the
// netCDF-4 model. It lies under capture because capture reads directional sets
// and report, which may import capture, writes headphone responses.
//
// Read follows the HDF5 File Format Specification 3.0: superblocks 0 to 3,
// object headers 1 and 2, symbol tables and new-style groups (compact, and
// dense with fractal heap and version 2 B-tree), compact, contiguous and
// chunked layouts (version 1 B-tree, single chunk, implicit, fixed array,
// version 2 B-tree), the filters shuffle, deflate and fletcher32. Every size
// is held against the file's before it is believed. Not read: groups below the
// root, compound types, extensible arrays, external and virtual storage; the
// error says so.
package hdf5

import (
	"fmt"
	"slices"
)

// File is a file that Read took in; it refers to the bytes it was given.
type File struct {
	image
	root  object
	links []link
}

// IsHDF5 reports whether b begins as HDF5 files do.
func IsHDF5(b []byte) bool { return len(b) >= len(magic) && string(b[:len(magic)]) == magic }

const magic = "\x89HDF\r\n\x1a\n"

// Read reads the structure of the file that b holds; data come with
// Dataset.Values. b must not change afterwards.
func Read(b []byte) (f *File, err error) {
	defer catch(&err)
	f = &File{image: image{b: b}}
	c := f.at(0)
	c.expect(magic)
	var root uint64
	switch version := c.int(1); version {
	case 0, 1:
		c.take(4)
		f.sizes(c)
		c.take(1 + 2 + 2 + 4)
		if version == 1 {
			c.take(4)
		}
		f.base(c)
		c.take(uint64(4 * f.offsetSize)) // free space, end of file, driver, link name
		root = f.address(c)
	case 2, 3:
		f.sizes(c)
		c.take(1)
		f.base(c)
		c.take(uint64(2 * f.offsetSize)) // extension, end of file
		root = f.address(c)
	default:
		fail("superblock version %d", version)
	}
	f.root = f.object(root)
	f.links = f.children(f.root)
	return f, nil
}

func (f *image) sizes(c *cursor) {
	f.offsetSize, f.lengthSize = c.int(1), c.int(1)
	if o, l := f.offsetSize, f.lengthSize; o != 4 && o != 8 || l != 4 && l != 8 {
		fail("offsets of %d and lengths of %d bytes: want 4 or 8", o, l)
	}
}

func (f *image) base(c *cursor) {
	if base := f.address(c); base != 0 {
		fail("base address %d: want 0", base)
	}
}

// Names returns the names in the root group, sorted.
func (f *File) Names() []string {
	var names []string
	for _, l := range f.links {
		names = append(names, l.name)
	}
	slices.Sort(names)
	return names
}

// Attributes returns the names of the root group's attributes, sorted.
func (f *File) Attributes() []string { return f.root.names() }

// Text returns a text attribute of the root group, "" when there is none or
// it is empty; it fails when the attribute is no single text.
func (f *File) Text(name string) (string, error) { return f.root.text(name) }

// Dataset returns a data set of the root group; it fails when there is none of
// that name or it is of a kind that is not read.
func (f *File) Dataset(name string) (d *Dataset, err error) {
	defer catch(&err)
	for _, l := range f.links {
		if l.name == name {
			return f.dataset(f.object(l.address)), nil
		}
	}
	return nil, fmt.Errorf("HDF5: no data set %q", name)
}
