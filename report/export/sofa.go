package export

import (
	"fmt"
	"io"
	"math"
	"time"

	"asworn/capture/hdf5"
)

// HeadphoneSet is what one AES69 file of the convention SimpleHeadphoneIR 1.0
// holds: the seatings of one headphone on one subject; or, with Azimuth, one of
// SimpleFreeFieldHRIR 1.0: the bare ears of one subject.
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
	// Azimuth is where the loudspeaker stood at the height of the ears, per measurement,
	// degrees from straight ahead toward the left; nil for headphones.
	Azimuth []float64
}

// distanceM stands for the loudspeaker's distance, m, which no study states and AES69 asks for.
const distanceM = 1

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
	convention := "SimpleHeadphoneIR"
	if h.Azimuth != nil {
		convention = "SimpleFreeFieldHRIR"
	}
	attributes := [][2]string{
		{"Conventions", "SOFA"}, {"Version", "2.0"}, {"SOFAConventions", convention}, {"SOFAConventionsVersion", "1.0"},
		{"APIName", "asworn"}, {"APIVersion", h.Version}, {"ApplicationName", "asworn"}, {"ApplicationVersion", h.Version},
		{"AuthorContact", h.AuthorContact}, {"Comment", h.Comment}, {"DataType", "FIR"}, {"License", h.License},
		{"Organization", h.Organization}, {"RoomType", "free field"}, {"DateCreated", date}, {"DateModified", date},
		{"Title", h.Title}, {"DatabaseName", h.DatabaseName}, {"ListenerShortName", h.Listener},
		{"ListenerDescription", h.ListenerDescription}, {"SourceDescription", h.Model}, {"SourceManufacturer", ""},
		{"SourceModel", h.Model}, {"SourceURI", ""}, {"ReceiverDescription", h.ReceiverDescription},
		{"EmitterDescription", h.EmitterDescription},
	}
	var ir, delay []float64
	for m, pair := range h.IR {
		ir = append(append(ir, pair[0]...), pair[1]...)
		var d [2]float64
		if h.Delay != nil {
			d = h.Delay[m]
		}
		delay = append(delay, d[:]...)
	}
	emitters, geometry := h.geometry()
	return hdf5.Write(w, []hdf5.Dimension{{Name: "I", Len: 1}, {Name: "C", Len: 3}, {Name: "R", Len: 2}, {Name: "E", Len: emitters},
		{Name: "M", Len: len(h.IR)}, {Name: "N", Len: len(h.IR[0][0])}}, attributes, append(geometry,
		hdf5.Variable{Name: "Data.IR", Dimensions: []string{"M", "R", "N"}, Values: ir},
		hdf5.Variable{Name: "Data.SamplingRate", Dimensions: []string{"I"}, Attributes: [][2]string{{"Units", "hertz"}}, Values: []float64{h.RateHz}},
		hdf5.Variable{Name: "Data.Delay", Dimensions: []string{"M", "R"}, Values: delay}))
}

// geometry is the conventions' default one: ears 9 cm to either side, each driver of a
// headphone at its ear, or the loudspeaker where it stood.
func (h HeadphoneSet) geometry() (emitters int, out []hdf5.Variable) {
	cartesian := [][2]string{{"Type", "cartesian"}, {"Units", "metre"}}
	spherical := [][2]string{{"Type", "spherical"}, {"Units", "degree, degree, metre"}}
	ears := []float64{0, 0.09, 0, 0, -0.09, 0}
	out = []hdf5.Variable{
		{Name: "ListenerPosition", Dimensions: []string{"I", "C"}, Attributes: cartesian, Values: []float64{0, 0, 0}},
		{Name: "ReceiverPosition", Dimensions: []string{"R", "C", "I"}, Attributes: cartesian, Values: ears},
	}
	if h.Azimuth == nil {
		return 2, append(out,
			hdf5.Variable{Name: "SourcePosition", Dimensions: []string{"I", "C"}, Attributes: spherical, Values: []float64{0, 0, 0}},
			hdf5.Variable{Name: "EmitterPosition", Dimensions: []string{"E", "C", "I"}, Attributes: cartesian, Values: ears})
	}
	var source []float64
	for _, a := range h.Azimuth {
		source = append(source, a, 0, distanceM)
	}
	return 1, append(out,
		hdf5.Variable{Name: "ListenerView", Dimensions: []string{"I", "C"}, Attributes: cartesian, Values: []float64{1, 0, 0}},
		hdf5.Variable{Name: "ListenerUp", Dimensions: []string{"I", "C"}, Values: []float64{0, 0, 1}},
		hdf5.Variable{Name: "SourcePosition", Dimensions: []string{"M", "C"}, Attributes: spherical, Values: source},
		hdf5.Variable{Name: "EmitterPosition", Dimensions: []string{"E", "C", "I"}, Attributes: cartesian, Values: []float64{0, 0, 0}})
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
	if h.Azimuth != nil && len(h.Azimuth) != len(h.IR) {
		return fmt.Errorf("bare ears: %d places of the loudspeaker for %d measurements", len(h.Azimuth), len(h.IR))
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
