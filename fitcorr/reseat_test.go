package fitcorr

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"asworn/capture"
	"asworn/capture/band"
)

// reseatSeatings reads the ten impulse responses of one unit of the open data
// (Geier & Erbes, CC BY 4.0; attribution in the folder) as drum seatings. The
// noise of these files is not known and left at zero.
func reseatSeatings(t *testing.T, dir, unit string) []Seating {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "impulse-*.wav"))
	if err != nil || len(files) == 0 {
		t.Skipf("no impulse responses in %s", dir)
	}
	var ss []Seating
	for n, name := range files {
		s := Seating{ID: filepath.Base(name), Model: "Unit " + unit, Subject: capture.FixtureSubject, Point: capture.Drum, Number: n + 1}
		for ear, x := range float32Stereo(t, name) {
			s.Ears[ear] = Curve{LevelDB: bandLevels(x, 44100), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			for k, b := range band.All() {
				s.Ears[ear].Valid[k] = b.Mid > 20
			}
		}
		ss = append(ss, s)
	}
	return ss
}

// float32Stereo reads a two-channel 32-bit float WAV file.
func float32Stereo(t *testing.T, name string) [2][]float64 {
	t.Helper()
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var out [2][]float64
	for at := 12; at+8 <= len(raw); {
		size := int(binary.LittleEndian.Uint32(raw[at+4:]))
		if string(raw[at:at+4]) == "data" {
			for i := at + 8; i+8 <= min(at+8+size, len(raw)); i += 8 {
				for ch := range out {
					out[ch] = append(out[ch], float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[i+4*ch:]))))
				}
			}
			return out
		}
		at += 8 + size + size%2
	}
	t.Fatalf("%s: no data chunk", name)
	return out
}

// bandLevels returns power averages over the kept bands from a finely sampled
// spectrum.
func bandLevels(x []float64, rate float64) []float64 {
	const n = 1 << 17
	padded := make([]float64, n)
	copy(padded, x)
	spec := fourier.NewFFT(n).Coefficients(nil, padded)
	out := make([]float64, band.Count)
	for k, b := range band.All() {
		sum, m := 0.0, 0.0
		for i := int(math.Ceil(b.Lower * n / rate)); float64(i)*rate/n < b.Upper && i < len(spec); i++ {
			a := cmplx.Abs(spec[i])
			sum += a * a
			m++
		}
		out[k] = 10 * math.Log10(sum/m)
	}
	return out
}

func TestReseatStandOuts(t *testing.T) {
	root := os.Getenv("ASWORN_RESEAT")
	if root == "" {
		root = filepath.Join("..", "testdata", "reseat")
	}
	for _, unit := range []string{"a", "b", "c"} {
		t.Run(unit, func(t *testing.T) {
			ss := reseatSeatings(t, filepath.Join(root, "unit-"+unit), unit)
			for _, so := range StandOuts(ss, DefaultOptions()) {
				mark := " "
				if so.Flagged {
					mark = "*"
				}
				fmt.Println(mark, so)
			}
		})
	}
}
