package export

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
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
}

// WriteCDL writes the set as CDL, the text form of netCDF, under the name of
// the file it is to become. AES69 files are netCDF-4; the netCDF tools make
// one with
//
//	ncgen -k nc4 -o NAME.sofa NAME.cdl
//
// docs/exports.md says why the last step is left to them.
func WriteCDL(w io.Writer, name string, h HeadphoneSet) error {
	if err := h.check(); err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "netcdf %s {\n", cdlName(name))
	fmt.Fprintf(b, "dimensions:\n\tI = 1 ;\n\tC = 3 ;\n\tR = 2 ;\n\tE = 2 ;\n\tM = %d ;\n\tN = %d ;\n", len(h.IR), len(h.IR[0][0]))
	b.WriteString("variables:\n")
	for _, v := range []struct{ name, dims, kind string }{
		{"ListenerPosition", "I, C", "cartesian"}, {"ReceiverPosition", "R, C, I", "cartesian"},
		{"SourcePosition", "I, C", "spherical"}, {"EmitterPosition", "E, C, I", "cartesian"},
	} {
		unit := "metre"
		if v.kind == "spherical" {
			unit = "degree, degree, metre"
		}
		fmt.Fprintf(b, "\tdouble %s(%s) ;\n\t\t%[1]s:Type = %[3]q ;\n\t\t%[1]s:Units = %[4]q ;\n", v.name, v.dims, v.kind, unit)
	}
	b.WriteString("\tdouble Data.IR(M, R, N) ;\n\tdouble Data.SamplingRate(I) ;\n\t\tData.SamplingRate:Units = \"hertz\" ;\n\tdouble Data.Delay(I, R) ;\n\n")
	if h.License == "" {
		h.License = "No license provided, ask the author for permission" // the convention's default
	}
	date := h.Created.UTC().Format("2006-01-02 15:04:05")
	for _, a := range [][2]string{
		{"Conventions", "SOFA"}, {"Version", "2.0"}, {"SOFAConventions", "SimpleHeadphoneIR"}, {"SOFAConventionsVersion", "1.0"},
		{"APIName", "asworn"}, {"APIVersion", h.Version}, {"ApplicationName", "asworn"}, {"ApplicationVersion", h.Version},
		{"AuthorContact", h.AuthorContact}, {"Comment", h.Comment}, {"DataType", "FIR"}, {"License", h.License},
		{"Organization", h.Organization}, {"RoomType", "free field"}, {"DateCreated", date}, {"DateModified", date},
		{"Title", h.Title}, {"DatabaseName", h.DatabaseName}, {"ListenerShortName", h.Listener},
		{"ListenerDescription", h.ListenerDescription}, {"SourceDescription", h.Model}, {"SourceManufacturer", ""},
		{"SourceModel", h.Model}, {"SourceURI", ""}, {"ReceiverDescription", h.ReceiverDescription},
		{"EmitterDescription", h.EmitterDescription},
	} {
		fmt.Fprintf(b, "\t\t:%s = %s ;\n", a[0], cdlString(a[1]))
	}
	// The convention's default geometry: ears 9 cm to either side, each driver
	// at its ear.
	b.WriteString("data:\n\n ListenerPosition = 0, 0, 0 ;\n\n ReceiverPosition = 0, 0.09, 0, 0, -0.09, 0 ;\n\n" +
		" SourcePosition = 0, 0, 0 ;\n\n EmitterPosition = 0, 0.09, 0, 0, -0.09, 0 ;\n\n Data.IR =")
	var num []byte
	for m, pair := range h.IR {
		for r, ir := range pair {
			for i, v := range ir {
				switch {
				case m == 0 && r == 0 && i == 0:
					b.WriteString("\n  ")
				case i%8 == 0:
					b.WriteString(",\n  ")
				default:
					b.WriteString(", ")
				}
				// The shortest text that reads back as the same number, of single
				// precision where that is what was kept.
				bits := 64
				if float64(float32(v)) == v {
					bits = 32
				}
				num = strconv.AppendFloat(num[:0], v, 'g', -1, bits)
				b.Write(num)
			}
		}
	}
	fmt.Fprintf(b, " ;\n\n Data.SamplingRate = %s ;\n\n Data.Delay = 0, 0 ;\n}\n", strconv.FormatFloat(h.RateHz, 'g', -1, 64))
	return b.Flush()
}

func (h HeadphoneSet) check() error {
	if len(h.IR) == 0 || len(h.IR[0][0]) == 0 {
		return fmt.Errorf("headphone responses: nothing to write")
	}
	if !(h.RateHz > 0) || math.IsInf(h.RateHz, 0) {
		return fmt.Errorf("headphone responses: rate %g Hz", h.RateHz)
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

// cdlName keeps of a name what a CDL identifier may hold.
func cdlName(s string) string {
	name := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '_' || r == '-' {
			return r
		}
		return '_'
	}, s)
	if name == "" || name[0] < 'A' {
		return "f" + name
	}
	return name
}

var cdlEscapes = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`, "\r", `\r`, "\x00", "")

func cdlString(s string) string { return `"` + cdlEscapes.Replace(s) + `"` }
