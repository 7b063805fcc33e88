// Package diffuse computes a fixture's diffuse-field reference from a set of
// directional responses in the AES69 (SOFA) convention SimpleFreeFieldHRIR.
package diffuse

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
)

// Set is a set of impulse responses from many directions.
type Set struct {
	Title     string
	RateHz    float64
	Direction [][3]float64  // unit vectors: x to the front, y to the left, z up (AES69)
	IR        [][][]float64 // per direction, then receiver, then sample
}

// Receivers is the number of receivers, two for a head.
func (s Set) Receivers() int {
	if len(s.IR) == 0 {
		return 0
	}
	return len(s.IR[0])
}

// sofa is the part of the text form that matters here.
type sofa struct {
	Attributes struct {
		Title, DatabaseName, ListenerShortName string
		SOFAConventions, DataType              string
	}
	Variables struct {
		SourcePosition variable
		IR             variable `json:"Data.IR"`
		SamplingRate   variable `json:"Data.SamplingRate"`
	}
}

type variable struct {
	Dimensions []int
	Attributes struct{ Type, Units string }
	Values     []float64
}

// Read reads the JSON text that mysofa2json (package libmysofa-utils of
// Debian) writes of a SOFA file. AES69 files themselves are netCDF-4, that is
// HDF5, for which no pure-Go reader could be had (docs/exports.md); Read says
// how to convert when it meets one.
func Read(r io.Reader) (Set, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return Set{}, err
	}
	if bytes.HasPrefix(text, []byte("\x89HDF")) {
		return Set{}, fmt.Errorf("this is the binary form of AES69: convert it with `mysofa2json -c FILE.sofa > FILE.json` (Debian: libmysofa-utils) and give the JSON file")
	}
	var f sofa
	if err := json.Unmarshal(text, &f); err != nil {
		return Set{}, fmt.Errorf("not the JSON text of a SOFA file: %w", err)
	}
	a := f.Attributes
	if a.SOFAConventions != "SimpleFreeFieldHRIR" || a.DataType != "FIR" {
		return Set{}, fmt.Errorf("SOFA convention %q with data type %q: a diffuse-field reference needs SimpleFreeFieldHRIR with FIR", a.SOFAConventions, a.DataType)
	}
	ir, pos, rate := f.Variables.IR, f.Variables.SourcePosition, f.Variables.SamplingRate
	if len(ir.Dimensions) != 3 || product(ir.Dimensions) != len(ir.Values) || len(ir.Values) == 0 {
		return Set{}, fmt.Errorf("Data.IR has dimensions %v and %d values: want directions × receivers × samples", ir.Dimensions, len(ir.Values))
	}
	m, n, taps := ir.Dimensions[0], ir.Dimensions[1], ir.Dimensions[2]
	if len(pos.Values) != 3*m {
		return Set{}, fmt.Errorf("SourcePosition has %d values for %d directions: want three each", len(pos.Values), m)
	}
	if len(rate.Values) != 1 || !(rate.Values[0] > 0) {
		return Set{}, fmt.Errorf("Data.SamplingRate is %v: want one rate above 0 for all", rate.Values)
	}
	s := Set{Title: a.Title, RateHz: rate.Values[0]}
	if s.Title == "" {
		s.Title = a.DatabaseName
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
