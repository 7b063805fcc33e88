package export

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"asworn/testdata/vectors"
)

var update = flag.Bool("update", false, "write the golden files anew")

func headphoneSet() HeadphoneSet {
	h := HeadphoneSet{Title: `Spring "closed" comparison`, DatabaseName: "study", License: "CC BY 4.0",
		Comment: "1: recordings/a.wav\n2: back\\slash, naïve", Listener: "L01", Model: "Model A",
		ReceiverDescription: "blocked entrance", EmitterDescription: "closed back", Version: "test",
		Created: time.Date(2024, 5, 1, 12, 0, 0, 0, time.UTC), RateHz: 48000}
	for m := range 3 {
		var pair [2][]float64
		for r := range pair {
			for i := range 20 {
				pair[r] = append(pair[r], math.Exp(-float64(i)/7)*math.Cos(float64(i*(r+1)+m))/3)
			}
		}
		h.IR = append(h.IR, pair)
		h.Delay = append(h.Delay, [2]float64{float64(m), float64(m + 31)})
	}
	return h
}

// bareSet is the same as if a loudspeaker had stood at three places.
func bareSet() HeadphoneSet {
	h := headphoneSet()
	h.Model, h.Azimuth = "loudspeaker", []float64{0, 60, 300}
	return h
}

// longComment is a comment that does not fit an object header as libmysofa reads it.
var longComment = strings.Repeat("seating 7: recordings/l01_model-a_007_blocked.wav; ", 12)

// The bytes are the golden files', which testdata/headphoneir/make.py reads with
// other libraries.
func TestWriteAES69Golden(t *testing.T) {
	long := headphoneSet()
	long.Comment = longComment
	for name, set := range map[string]HeadphoneSet{"headphone.sofa": headphoneSet(), "long.sofa": long, "bare.sofa": bareSet()} {
		var b bytes.Buffer
		if err := writeAES69(&b, set); err != nil {
			t.Fatal(err)
		}
		golden := filepath.Join("..", "..", "testdata", "headphoneir", name)
		if *update {
			if err := os.WriteFile(golden, b.Bytes(), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(golden)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(b.Bytes(), want) {
			t.Errorf("the file differs from %s; -update writes it anew, then run its make.py", name)
		}
	}
}

// What three independent readers (netCDF4, h5py, libmysofa) find in the golden
// file is what went in.
func TestVectorsHeadphoneIR(t *testing.T) {
	var back struct {
		NetCDF4, HDF5, Mysofa struct {
			Format     string
			Dimensions map[string]int
			Attributes map[string]string
			Variables  map[string]struct {
				Dimensions []string
				Attributes map[string]string
				Values     []float64
			}
		}
		Missing  []string                               // mandatory parts of the convention that are not there
		Long     struct{ NetCDF4, HDF5, Mysofa string } // the comment of long.sofa
		LongSame bool                                   // libmysofa reads the same variables of it
		Bare     struct {                               // of bare.sofa
			Convention, Checked string
			NetCDF4, HDF5       struct{ IR, Source []float64 }
			Mysofa              struct{ IR, Source []float64 }
		}
	}
	if err := json.NewDecoder(vectors.Open(t, "headphoneir", "readback.json")).Decode(&back); err != nil {
		t.Fatal(err)
	}
	h := headphoneSet()
	if len(back.Missing) > 0 {
		t.Errorf("missing from the convention: %v", back.Missing)
	}
	n := back.NetCDF4
	if n.Format != "NETCDF4" || n.Dimensions["M"] != 3 || n.Dimensions["R"] != 2 || n.Dimensions["N"] != 20 || n.Dimensions["E"] != 2 {
		t.Errorf("format %s, dimensions %v", n.Format, n.Dimensions)
	}
	for name, want := range map[string]string{"Title": h.Title, "Comment": h.Comment, "SOFAConventions": "SimpleHeadphoneIR",
		"DateCreated": "2024-05-01 12:00:00", "SourceModel": "Model A", "License": h.License} {
		if n.Attributes[name] != want || back.HDF5.Attributes[name] != want {
			t.Errorf("%s: netCDF4 %q, HDF5 %q, want %q", name, n.Attributes[name], back.HDF5.Attributes[name], want)
		}
	}
	if l := back.Long; l.NetCDF4 != longComment || l.HDF5 != longComment || l.Mysofa != longComment || !back.LongSame {
		t.Errorf("a long comment: %+v, the same variables %v", l, back.LongSame)
	}
	var flat []float64
	for _, pair := range h.IR {
		flat = append(append(flat, pair[0]...), pair[1]...)
	}
	for reader, got := range map[string][]float64{"netCDF4": n.Variables["Data.IR"].Values, "HDF5": back.HDF5.Variables["Data.IR"].Values,
		"libmysofa": back.Mysofa.Variables["Data.IR"].Values} {
		if len(got) != len(flat) {
			t.Fatalf("%s: %d samples, want %d", reader, len(got), len(flat))
		}
		for i := range got {
			// mysofa2json prints seven digits.
			if got[i] != flat[i] && !(reader == "libmysofa" && math.Abs(got[i]-flat[i]) < 1e-6*math.Abs(flat[i])) {
				t.Fatalf("%s: sample %d is %v, want %v", reader, i, got[i], flat[i])
			}
		}
	}
	if b := back.Bare; b.Convention != "SimpleFreeFieldHRIR" || b.Checked != "passed" {
		t.Errorf("bare ears: convention %q, libmysofa's check of its attributes %s", b.Convention, b.Checked)
	}
	for reader, got := range map[string]struct{ IR, Source []float64 }{"netCDF4": back.Bare.NetCDF4, "HDF5": back.Bare.HDF5, "libmysofa": back.Bare.Mysofa} {
		if !slices.Equal(got.Source, []float64{0, 0, 1, 60, 0, 1, 300, 0, 1}) || len(got.IR) != len(flat) {
			t.Errorf("%s: bare ears: %d samples, loudspeaker at %v", reader, len(got.IR), got.Source)
			continue
		}
		for i, v := range flat {
			if math.Abs(got.IR[i]-v) > 1e-6*math.Abs(v) {
				t.Fatalf("%s: bare ears: sample %d is %v, want %v", reader, i, got.IR[i], v)
			}
		}
	}
	if d := n.Variables["Data.Delay"].Values; len(d) != 6 || d[4] != 2 || d[5] != 33 {
		t.Errorf("delays %v", d)
	}
	if d := strings.Join(n.Variables["Data.IR"].Dimensions, ""); d != "MRN" {
		t.Errorf("Data.IR is %s", d)
	}
	if v := n.Variables["Data.SamplingRate"]; len(v.Values) != 1 || v.Values[0] != 48000 || v.Attributes["Units"] != "hertz" {
		t.Errorf("sampling rate %+v", v)
	}
}

func TestWriteAES69Refusals(t *testing.T) {
	for name, change := range map[string]func(*HeadphoneSet){
		"nothing": func(h *HeadphoneSet) { h.IR = nil },
		"no rate": func(h *HeadphoneSet) { h.RateHz = 0 },
		"lengths": func(h *HeadphoneSet) { h.IR[1][1] = h.IR[1][1][:5] },
		"NaN":     func(h *HeadphoneSet) { h.IR[2][0][3] = math.NaN() },
		"places":  func(h *HeadphoneSet) { h.Azimuth = []float64{0} },
	} {
		h := headphoneSet()
		change(&h)
		if err := writeAES69(io.Discard, h); err == nil {
			t.Errorf("%s: written", name)
		}
	}
}
