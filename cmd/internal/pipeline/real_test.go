package pipeline

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/resultdir"
)

// realStudy makes the worked example of docs/developing/real-recordings.md. The
// recordings are open data, too large to be committed; they lie beside the
// checkout or where ASWORN_RESEAT says.
func realStudy(t testing.TB) (study, data string) {
	t.Helper()
	data = os.Getenv("ASWORN_RESEAT")
	if data == "" {
		data = filepath.Join("..", "..", "..", "..", "shared", "data", "reseat")
	}
	if _, err := os.Stat(filepath.Join(data, "excitation.wav")); err != nil {
		t.Skipf("no real recordings: %v", err)
	}
	study = t.TempDir()
	example := filepath.Join("..", "..", "..", "docs", "examples", "reseat")
	files := map[string]string{
		filepath.Join(example, "study.toml"):   "study.toml",
		filepath.Join(example, "seatings.csv"): "seatings.csv",
		filepath.Join(data, "excitation.wav"):  "excitation.wav",
	}
	recordings, err := filepath.Glob(filepath.Join(data, "unit-b", "recording-*.wav"))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range recordings {
		files[r] = filepath.Join("recordings", filepath.Base(r))
	}
	for from, to := range files {
		content, err := os.ReadFile(from)
		if err == nil {
			err = resultdir.WriteFile(filepath.Join(study, to), content)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	return study, data
}

// TestRealRecordings runs the worked example and holds each response against
// the impulse response that the measurers published, per 1/24 octave from
// 30 Hz to 16 kHz.
func TestRealRecordings(t *testing.T) {
	study, data := realStudy(t)
	before := hashes(t, study)
	r, counts, err := Run(context.Background(), study, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if counts.Recordings != 10 || counts.Refused != 0 {
		t.Fatalf("%d recordings, %d rejected; want 10 and none", counts.Recordings, counts.Refused)
	}
	if after := hashes(t, study); !slices.Equal(before, after) {
		t.Error("a file of the study was modified")
	}
	var all []float64
	for i, rec := range r.Recordings {
		f, h, err := wavfile.ReadAll(filepath.Join(data, "unit-b", fmt.Sprintf("impulse-%02d.wav", i+1)))
		if err != nil {
			t.Fatal(err)
		}
		for e := range h {
			diffs := differences(t, rec.Ears[e].LevelDB, rec.Ears[e].Valid, float64(f.RateHz), h[e])
			all = append(all, diffs...)
			if worst := slices.Max(diffs); worst > 0.2 {
				t.Errorf("%s, ear %d: up to %.3f dB from the measurers' response, want at most 0.2", rec.File, e, worst)
			}
		}
	}
	slices.Sort(all)
	t.Logf("median %.4f dB, worst %.3f dB over %d levels", all[len(all)/2], all[len(all)-1], len(all))
	if m := all[len(all)/2]; m > 0.05 {
		t.Errorf("median difference %.3f dB, want at most 0.05", m)
	}

	// What the study says, and what it says that it cannot.
	if n := len(r.Analysis.StandOuts); n != 40 {
		t.Errorf("%d tests for stand-outs, want 10 seatings × 2 ears × 2 bands", n)
	}
	s := r.Analysis.Models[0].Sensitivity
	if len(s) != 2 || len(s[0].RepeatabilityDB) != band.Thirds {
		t.Errorf("no repeatability per third octave: %d ears", len(s))
	}
	said := strings.Join(slices.Concat(r.Findings, r.Analysis.Cannot, r.Analysis.Models[0].Cannot), "\n")
	for _, want := range []string{"survey", "listener", "calibrator", "blocked", "reference"} {
		if !strings.Contains(said, want) {
			t.Errorf("the study does not say what it cannot answer for want of: %s", want)
		}
	}
}

// differences returns |level − level of h| per band, the median taken out:
// both scales are arbitrary.
func differences(t *testing.T, level []float64, valid []bool, rate float64, h []float64) []float64 {
	t.Helper()
	bands := band.All()
	power, err := deconv.NewBandPower(rate, len(h), bands)
	if err != nil {
		t.Fatal(err)
	}
	want := make([]float64, len(bands))
	power.Mean(want, h)
	var out []float64
	for i, b := range bands {
		if b.Lower < 30 || b.Upper > 16000 {
			continue
		}
		if !valid[i] {
			t.Errorf("%.0f Hz does not count", b.Mid)
		}
		out = append(out, level[i]-10*math.Log10(want[i]))
	}
	sorted := slices.Sorted(slices.Values(out))
	for i := range out {
		out[i] = math.Abs(out[i] - sorted[len(sorted)/2])
	}
	return out
}

// hashes lists name and hash of every file of a study but its results.
func hashes(t *testing.T, dir string) (out []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == resultdir.Dir:
			return fs.SkipDir
		case d.IsDir():
			return nil
		}
		k, err := cache.FileKey(name)
		out = append(out, name+" "+k.String())
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
