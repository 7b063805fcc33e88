package export

import (
	"fmt"
	"io"
	"math"
	"time"

	"asworn/capture/hdf5"
)

// HeadphoneSet is what one AES69 file of the convention SimpleHeadphoneIR 1.0
// holds: the seatings of one headphone on one subject.
type HeadphoneSet struct {
	Title               string
	DatabaseName        string // of the study
	Organization        string
	AuthorContact       string
	License             string
	Comment             string // for instance which seating each measurement is
	Listener            string // the subject's id, never a name
	ListenerDescription string
	Model               string // of the headphone
	ReceiverDescription string // of the microphones and the point where they listen
	EmitterDescription  string // of the headphone's drivers
	Version             string // of the program
	Created             time.Time
	RateHz              float64
	// IR holds the impulse responses: per seating, left and right, all of one length.
	IR [][2][]float64
	// Delay is when the first sample of each response comes, in samples after a
	// time zero that is the same for all; nil writes 0.
	Delay [][2]float64
}

// writeAES69 writes the set as an AES69 (SOFA) file, which is netCDF-4, that is
// HDF5. docs/exports.md says what stands where.
func writeAES69(w io.Writer, h HeadphoneSet) error {
	if err := h.check(); err != nil {
		return err
	}
	if h.License == "" {
		h.License = "No license provided, ask the author for permission" // the convention's default
	}
	date := h.Created.UTC().Format("2006-01-02 15:04:05")
	attributes := [][2]string{
		{"Conventions", "SOFA"}, {"Version", "2.0"}, {"SOFAConventions", "SimpleHeadphoneIR"}, {"SOFAConventionsVersion", "1.0"},
		{"APIName", "asworn"}, {"APIVersion", h.Version}, {"ApplicationName", "asworn"}, {"ApplicationVersion", h.Version},
		{"AuthorContact", h.AuthorContact}, {"Comment", h.Comment}, {"DataType", "FIR"}, {"License", h.License},
		{"Organization", h.Organization}, {"RoomType", "free field"}, {"DateCreated", date}, {"DateModified", date},
		{"Title", h.Title}, {"DatabaseName", h.DatabaseName}, {"ListenerShortName", h.Listener},
		{"ListenerDescription", h.ListenerDescription}, {"SourceDescription", h.Model}, {"SourceManufacturer", ""},
		{"SourceModel", h.Model}, {"SourceURI", ""}, {"ReceiverDescription", h.ReceiverDescription},
		{"EmitterDescription", h.EmitterDescription},
	}
	cartesian := [][2]string{{"Type", "cartesian"}, {"Units", "metre"}}
	spherical := [][2]string{{"Type", "spherical"}, {"Units", "degree, degree, metre"}}
	// The convention's default geometry: ears 9 cm to either side, each driver
	// at its ear.
	ears := []float64{0, 0.09, 0, 0, -0.09, 0}
	var ir, delay []float64
	for m, pair := range h.IR {
		ir = append(append(ir, pair[0]...), pair[1]...)
		var d [2]float64
		if h.Delay != nil {
			d = h.Delay[m]
		}
		delay = append(delay, d[:]...)
	}
	return hdf5.Write(w, []hdf5.Dimension{{Name: "I", Len: 1}, {Name: "C", Len: 3}, {Name: "R", Len: 2}, {Name: "E", Len: 2},
		{Name: "M", Len: len(h.IR)}, {Name: "N", Len: len(h.IR[0][0])}}, attributes, []hdf5.Variable{
		{Name: "ListenerPosition", Dimensions: []string{"I", "C"}, Attributes: cartesian, Values: []float64{0, 0, 0}},
		{Name: "ReceiverPosition", Dimensions: []string{"R", "C", "I"}, Attributes: cartesian, Values: ears},
		{Name: "SourcePosition", Dimensions: []string{"I", "C"}, Attributes: spherical, Values: []float64{0, 0, 0}},
		{Name: "EmitterPosition", Dimensions: []string{"E", "C", "I"}, Attributes: cartesian, Values: ears},
		{Name: "Data.IR", Dimensions: []string{"M", "R", "N"}, Values: ir},
		{Name: "Data.SamplingRate", Dimensions: []string{"I"}, Attributes: [][2]string{{"Units", "hertz"}}, Values: []float64{h.RateHz}},
		{Name: "Data.Delay", Dimensions: []string{"M", "R"}, Values: delay},
	})
}

func (h HeadphoneSet) check() error {
	if len(h.IR) == 0 || len(h.IR[0][0]) == 0 {
		return fmt.Errorf("headphone responses: nothing to write")
	}
	if !(h.RateHz > 0) || math.IsInf(h.RateHz, 0) {
		return fmt.Errorf("headphone responses: rate %g Hz", h.RateHz)
	}
	if h.Delay != nil && len(h.Delay) != len(h.IR) {
		return fmt.Errorf("headphone responses: %d delays for %d measurements", len(h.Delay), len(h.IR))
	}
	for m, pair := range h.IR {
		for r, ir := range pair {
			if len(ir) != len(h.IR[0][0]) {
				return fmt.Errorf("headphone responses: measurement %d, ear %d has %d samples, the first has %d: one file holds one length", m+1, r+1, len(ir), len(h.IR[0][0]))
			}
			for i, v := range ir {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return fmt.Errorf("headphone responses: measurement %d, ear %d, sample %d is %v", m+1, r+1, i+1, v)
				}
			}
		}
	}
	return nil
}
