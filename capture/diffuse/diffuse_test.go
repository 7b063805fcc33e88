package diffuse

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"asworn/capture/band"
	"asworn/testdata/vectors"
)

func manikin(t testing.TB) Set {
	t.Helper()
	z, err := gzip.NewReader(vectors.Open(t, "sofa", "manikin.json.gz"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Read(z)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// thirds is the power average of a reference's kept bands.
func thirds(r Reference) []float64 {
	out := make([]float64, band.Thirds)
	for t := range out {
		for b := range 8 {
			out[t] += math.Pow(10, r.LevelDB[8*t+b]/10) / 8
		}
		out[t] = 10 * math.Log10(out[t])
	}
	return out
}

// The diffuse-field average of a real manikin against NumPy's, whose solid
// angles come from SciPy's spherical Voronoi diagram (testdata/sofa/make.py).
func TestVectorsDiffuseField(t *testing.T) {
	s := manikin(t)
	df, err := s.DiffuseField(0)
	if err != nil {
		t.Fatal(err)
	}
	if df.GapDeg < 45 || df.GapDeg > 55 {
		t.Errorf("gap %.1f degrees: nothing was measured below −40 degrees of elevation", df.GapDeg)
	}
	ff, err := s.FreeField(0)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(vectors.Open(t, "sofa", "diffuse.csv")).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 15 {
		t.Fatalf("%d rows", len(rows))
	}
	gotDF, gotFF := thirds(df), thirds(ff)
	for _, row := range rows[1:] {
		k, _ := strconv.Atoi(row[0])
		wantDF, _ := strconv.ParseFloat(row[1], 64)
		wantFF, _ := strconv.ParseFloat(row[2], 64)
		if i := k + 17; math.Abs(gotDF[i]-wantDF) > 0.05 || math.Abs(gotFF[i]-wantFF) > 0.05 {
			t.Errorf("third %d: diffuse %.3f, want %.3f; front %.3f, want %.3f", k, gotDF[i], wantDF, gotFF[i], wantFF)
		}
	}
}

// The manikin's diffuse field less its free field (which takes the
// loudspeaker out) against the nominal curves for manikins of its kind at the
// drum reference point, ITU-T P.58 (06/2021): within the tolerances of the two
// curves everywhere, within 0.6 dB where a manikin's head rules and not its pinna,
// below 1.3 kHz, and above as far off as docs/exports.md says. Values as quoted by a public program; the diffuse-field
// curve is the same in memory.
func TestVectorsAgainstP58(t *testing.T) {
	p58 := []struct{ hz, df, dfLow, dfHigh, ff, ffLow, ffHigh float64 }{
		{400, 1, -1, 1.5, 1.5, -2, 1.5}, {500, 1.5, -1.5, 1.5, 2, -1.5, 2}, {630, 2, -1.5, 2, 2.5, -1.5, 2},
		{800, 4, -2, 2, 3.5, -1.5, 3}, {1000, 5, -2.5, 2, 3.5, -2, 3.5}, {1250, 6.5, -3, 1.5, 3.5, -3, 3},
		{1600, 8, -2.5, 1.5, 5, -3.5, 2.5}, {2000, 10.5, -2.5, 2, 12.5, -4, 1.5}, {2500, 14, -3, 2, 18.5, -4.5, 1.5},
		{3150, 12, -1, 6, 15.5, -2.5, 5.5}, {4000, 11.5, -2, 6, 13, -2.5, 5}, {5000, 11, -2, 5, 11, -3.5, 5},
		{6300, 8, -4, 6.5, 5, -3, 8.5}, {8000, 6.5, -4, 8, 2, -5, 9}, {10000, 10.5, -10, 2, 7, -7.5, 3.5},
	}
	s := manikin(t)
	df, err := s.DiffuseField(0)
	if err != nil {
		t.Fatal(err)
	}
	ff, err := s.FreeField(0)
	if err != nil {
		t.Fatal(err)
	}
	d, f := thirds(df), thirds(ff)
	for _, p := range p58 {
		i := int(math.Round(10*math.Log10(p.hz/1000))) + 17
		got, want := d[i]-f[i], p.df-p.ff
		t.Logf("%5.0f Hz: %5.1f dB, nominal %5.1f", p.hz, got, want)
		if got < want+p.dfLow-p.ffHigh || got > want+p.dfHigh-p.ffLow {
			t.Errorf("%g Hz: %.2f dB is outside the tolerances about %.1f", p.hz, got, want)
		}
		most := 0.6 // dB
		switch {
		case p.hz > 7000:
			most = 8.7
		case p.hz > 1300:
			most = 4.3
		}
		if math.Abs(got-want) > most+0.05 {
			t.Errorf("%g Hz: %.2f dB, nominal %.1f, at most %.1f apart", p.hz, got, want, most)
		}
	}
}

// Responses that do not depend on direction are their own average, however
// unevenly the directions lie; weights add up to one sphere.
func TestDiffuseFieldOfAPoint(t *testing.T) {
	s := Set{RateHz: 48000}
	for i := range 60 {
		z := 1 - 1.9*float64(i)/60 // crowded nowhere, but short of the south pole
		a := 2.4 * float64(i)
		r := math.Sqrt(1 - z*z)
		s.Direction = append(s.Direction, [3]float64{r * math.Cos(a), r * math.Sin(a), z})
		h := make([]float64, 9600)
		h[17] = 2
		s.IR = append(s.IR, [][]float64{h})
	}
	w, _ := s.weights()
	sum := 0.0
	for _, v := range w {
		sum += v
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("weights add up to %v", sum)
	}
	r, err := s.DiffuseField(0)
	if err != nil {
		t.Fatal(err)
	}
	for b, l := range r.LevelDB {
		if math.Abs(l-20*math.Log10(2)) > 1e-6 {
			t.Fatalf("band %d: %.4f dB, want 6.02", b, l)
		}
		if !r.Valid[b] {
			t.Fatalf("band %d not valid", b)
		}
	}
	r.Valid[0] = false
	var text strings.Builder
	if err := r.WriteCSV(&text); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(text.String()), "\n")
	if len(lines) != band.Count || lines[0] != "frequency_hz,level_db" || lines[1] != "18.567,6.021" {
		t.Errorf("%d lines, %q, %q", len(lines), lines[0], lines[1])
	}
	if m := r.Minus(r); m.LevelDB[100] != 0 || !m.Valid[100] {
		t.Error("a curve less itself")
	}
}

// The measurement as Debian's libmysofa ships it, where it is installed, is the
// set that mysofa2json's text holds (there of three digits, half the samples).
func TestVectorsReadAES69(t *testing.T) {
	b, err := os.ReadFile("/usr/share/libmysofa/default.sofa")
	if err != nil {
		t.Skip(err)
	}
	got, err := Read(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	want := manikin(t)
	if len(got.IR) != 710 || got.receivers() != 2 || len(got.IR[0][0]) != 512 || got.RateHz != want.RateHz {
		t.Fatalf("%d directions, %d receivers, %g Hz", len(got.IR), got.receivers(), got.RateHz)
	}
	for i, ir := range want.IR {
		for j, v := range ir[0] {
			if math.Abs(got.IR[i][0][j]-v) > 0.006*math.Abs(v)+1e-12 {
				t.Fatalf("direction %d, sample %d: %v, want %v", i, j, got.IR[i][0][j], v)
			}
		}
		for k := range 3 {
			if math.Abs(got.Direction[i][k]-want.Direction[i][k]) > 1e-5 {
				t.Fatalf("direction %d: %v, want %v", i, got.Direction[i], want.Direction[i])
			}
		}
	}
}

func TestReadRefusals(t *testing.T) {
	good := `{"Attributes":{"SOFAConventions":"SimpleFreeFieldHRIR","DataType":"FIR"},"Variables":{
"SourcePosition":{"Dimensions":[1,3],"Attributes":{"Type":"cartesian"},"Values":[2,0,0]},
"Data.SamplingRate":{"Values":[48000]},"Data.IR":{"Dimensions":[1,1,2],"Values":[1,0]}}}`
	s, err := Read(strings.NewReader(good))
	if err != nil || s.Direction[0] != [3]float64{1, 0, 0} {
		t.Fatalf("%v, %v", s, err)
	}
	if _, err := s.DiffuseField(0); err == nil || !strings.Contains(err.Error(), "gap") {
		t.Errorf("one direction makes a diffuse field: %v", err)
	}
	if _, err := s.DiffuseField(1); err == nil {
		t.Error("second of one receiver")
	}
	for _, tc := range []struct{ text, old, new, want string }{
		{"\x89HDF\r\n\x1a\n", "", "", "cut short"},
		{"{", "", "", "JSON"},
		{good, "SimpleFreeFieldHRIR", "SimpleHeadphoneIR", "convention"},
		{good, "[1,1,2]", "[1,1,3]", "Data.IR"},
		{good, "[1,1,2]", "[1,6148914691236517206,3]", "Data.IR"}, // overflows to 2
		{good, "[2,0,0]", "[2,0]", "SourcePosition"},
		{good, "[2,0,0]", "[0,0,0]", "direction"},
		{good, "cartesian", "polar", "coordinate"},
		{good, "[48000]", "[0]", "SamplingRate"},
	} {
		text := tc.text
		if tc.old != "" {
			text = strings.Replace(text, tc.old, tc.new, 1)
		}
		if _, err := Read(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s → %s: %v", tc.old, tc.new, err)
		}
	}
}

// Whatever the text, reading ends in a set or an error, and a set can be used.
func FuzzRead(f *testing.F) {
	f.Add([]byte(`{"Attributes":{"SOFAConventions":"SimpleFreeFieldHRIR","DataType":"FIR"},"Variables":{
"SourcePosition":{"Attributes":{"Type":"spherical"},"Values":[90,0,1]},
"Data.SamplingRate":{"Values":[48000]},"Data.IR":{"Dimensions":[1,1,2],"Values":[1,0]}}}`))
	f.Add([]byte("\x89HDF\r\n\x1a\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := Read(bytes.NewReader(text))
		if err != nil {
			return
		}
		if len(s.IR) == 0 || len(s.IR) != len(s.Direction) || s.receivers() == 0 {
			t.Errorf("an unusable set: %+v", s)
		}
		for _, field := range []func(int) (Reference, error){s.FreeField, s.DiffuseField} {
			if len(s.IR) > 8 {
				break // the time of a fuzzing run
			}
			if c, err := field(0); err == nil && c.Check() == nil {
				for i, l := range c.LevelDB {
					if c.Valid[i] && l-l != 0 {
						t.Errorf("band %d: %g dB", i, l)
					}
				}
			}
		}
	})
}

func ExampleSet_DiffuseField() {
	// Six directions, one louder.
	s := Set{RateHz: 48000}
	for i, d := range [][3]float64{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}} {
		h := make([]float64, 256)
		h[0] = 1
		if i == 0 {
			h[0] = 2
		}
		s.Direction = append(s.Direction, d)
		s.IR = append(s.IR, [][]float64{h})
	}
	r, err := s.DiffuseField(0)
	fmt.Printf("%.2f dB at 1 kHz, gap %.0f degrees, %v\n", r.LevelDB[140], r.GapDeg, err)
	// Output: 1.76 dB at 1 kHz, gap 55 degrees, <nil>
}
