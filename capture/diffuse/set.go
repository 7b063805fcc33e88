// Package diffuse computes a fixture's diffuse-field reference from a set of
// directional responses in the AES69 (SOFA) convention SimpleFreeFieldHRIR.
package diffuse

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"asworn/capture/hdf5"
)

// Bounds of a set, many times those of any measurement: beyond them the time that
// an average takes has no end.
const (
	maxDirections = 20000
	maxTaps       = 1 << 16
	minRateHz     = 8000
	maxRateHz     = 768000
	maxValue      = 1e6     // of a sample: 120 dB
	maxFile       = 1 << 30 // bytes
)

// Set is a set of impulse responses from many directions.
type Set struct {
	Title     string
	RateHz    float64
	Direction [][3]float64  // unit vectors, pure numbers: x to the front, y to the left, z up (AES69)
	IR        [][][]float64 // per direction, then receiver, then sample, full scale 1
}

// receivers is the number of receivers, two for a head.
func (s Set) receivers() int {
	if len(s.IR) == 0 {
		return 0
	}
	return len(s.IR[0])
}

// source is what both forms of a set give: texts of the file, and variables.
type source interface {
	text(attribute string) (string, error)
	variable(name string) (variable, error)
}

type variable struct {
	Dimensions []int
	Attributes struct{ Type, Units string }
	Values     []float64
}

// jsonSet is the part of mysofa2json's text that matters here.
type jsonSet struct {
	Attributes map[string]any
	Variables  map[string]json.RawMessage
}

func (s jsonSet) text(attribute string) (string, error) {
	t, _ := s.Attributes[attribute].(string)
	return t, nil
}

func (s jsonSet) variable(name string) (v variable, err error) {
	if raw, ok := s.Variables[name]; ok {
		err = json.Unmarshal(raw, &v)
	}
	return v, err
}

// hdf5Set is an AES69 file itself.
type hdf5Set struct{ *hdf5.File }

func (s hdf5Set) text(attribute string) (string, error) { return s.Text(attribute) }

func (s hdf5Set) variable(name string) (v variable, err error) {
	d, err := s.Dataset(name)
	if err != nil {
		return v, err
	}
	v.Dimensions = d.Shape
	if v.Attributes.Type, err = d.Text("Type"); err != nil {
		return v, err
	}
	if v.Attributes.Units, err = d.Text("Units"); err != nil {
		return v, err
	}
	v.Values, err = d.Values()
	return v, err
}

// Read reads an AES69 (SOFA) file, which is netCDF-4, that is HDF5 (package hdf5 says
// what of it), or the JSON text that mysofa2json (package libmysofa-utils of Debian)
// writes of one. Errors say what of the file is missing or cannot be: its convention, a
// shape, a unit, a value; more than 1 GiB is refused.
func Read(r io.Reader) (Set, error) {
	b, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return Set{}, err
	}
	if len(b) > maxFile {
		return Set{}, fmt.Errorf("more than %d MiB: no set of directional responses is that large", maxFile>>20)
	}
	if hdf5.IsHDF5(b) {
		f, err := hdf5.Read(b)
		if err != nil {
			return Set{}, err
		}
		return read(hdf5Set{f})
	}
	var f jsonSet
	if err := json.Unmarshal(b, &f); err != nil {
		return Set{}, fmt.Errorf("neither an AES69 (SOFA) file, which is HDF5, nor its JSON text: %w", err)
	}
	return read(f)
}

func read(f source) (Set, error) {
	var texts [4]string
	for i, name := range []string{"SOFAConventions", "DataType", "Title", "DatabaseName"} {
		var err error
		if texts[i], err = f.text(name); err != nil {
			return Set{}, err
		}
	}
	if texts[0] != "SimpleFreeFieldHRIR" || texts[1] != "FIR" {
		return Set{}, fmt.Errorf("SOFA convention %q with data type %q: a diffuse-field reference needs SimpleFreeFieldHRIR with FIR", texts[0], texts[1])
	}
	var variables [3]variable
	for i, name := range []string{"Data.IR", "SourcePosition", "Data.SamplingRate"} {
		var err error
		if variables[i], err = f.variable(name); err != nil {
			return Set{}, fmt.Errorf("%s: %w", name, err)
		}
	}
	ir, pos, rate := variables[0], variables[1], variables[2]
	if len(ir.Dimensions) != 3 || product(ir.Dimensions) != len(ir.Values) || len(ir.Values) == 0 {
		return Set{}, fmt.Errorf("Data.IR has dimensions %v and %d values: want directions × receivers × samples", ir.Dimensions, len(ir.Values))
	}
	m, n, taps := ir.Dimensions[0], ir.Dimensions[1], ir.Dimensions[2]
	if m > maxDirections || taps > maxTaps {
		return Set{}, fmt.Errorf("Data.IR has %d directions of %d samples: at most %d of %d are read", m, taps, maxDirections, maxTaps)
	}
	for i, v := range ir.Values {
		if !(math.Abs(v) <= maxValue) {
			return Set{}, fmt.Errorf("Data.IR holds %g in direction %d, sample %d: the file is damaged, or its numbers are no responses", v, i/(n*taps)+1, i%taps+1)
		}
	}
	if len(pos.Values) != 3*m {
		return Set{}, fmt.Errorf("SourcePosition has %d values for %d directions: want three each", len(pos.Values), m)
	}
	if len(rate.Values) != 1 || !(rate.Values[0] >= minRateHz && rate.Values[0] <= maxRateHz) {
		return Set{}, fmt.Errorf("Data.SamplingRate has %d values, %v: want one rate from %d to %d Hz for all", len(rate.Values), rate.Values[:min(len(rate.Values), 3)], minRateHz, maxRateHz)
	}
	s := Set{Title: texts[2], RateHz: rate.Values[0]}
	if s.Title == "" {
		s.Title = texts[3]
	}
	for i := range m {
		d, err := unit(pos.Values[3*i:3*i+3], pos.Attributes.Type)
		if err != nil {
			return Set{}, fmt.Errorf("SourcePosition %d: %w", i+1, err)
		}
		s.Direction = append(s.Direction, d)
		receivers := make([][]float64, n)
		for r := range receivers {
			receivers[r] = ir.Values[(i*n+r)*taps:][:taps:taps]
		}
		s.IR = append(s.IR, receivers)
	}
	return s, nil
}

// product is the number of values that the dimensions span, −1 when they are
// impossible.
func product(dims []int) int {
	const most = 1 << 31
	p := 1
	for _, d := range dims {
		if d < 0 || d > most || p*d > most {
			return -1
		}
		p *= d
	}
	return p
}

// unit turns a position into a direction. Spherical positions are azimuth and
// elevation in degrees and radius in metres, azimuth counterclockwise.
func unit(p []float64, kind string) ([3]float64, error) {
	for _, v := range p {
		if !(math.Abs(v) <= maxValue) {
			return [3]float64{}, fmt.Errorf("%v is no position", p)
		}
	}
	switch kind {
	case "spherical":
		sinAz, cosAz := math.Sincos(p[0] * math.Pi / 180)
		sinEl, cosEl := math.Sincos(p[1] * math.Pi / 180)
		return [3]float64{cosEl * cosAz, cosEl * sinAz, sinEl}, nil
	case "cartesian":
		r := math.Sqrt(p[0]*p[0] + p[1]*p[1] + p[2]*p[2])
		if !(r > 0) {
			return [3]float64{}, fmt.Errorf("%v has no direction", p)
		}
		return [3]float64{p[0] / r, p[1] / r, p[2] / r}, nil
	}
	return [3]float64{}, fmt.Errorf("coordinate type %q: want spherical or cartesian", kind)
}
