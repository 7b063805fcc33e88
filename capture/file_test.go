package capture_test

import (
	"math"
	"path/filepath"
	"testing"

	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/sweep"
	"asworn/capture/wavfile"
)

// TestLongFile finds the excitation deep in a recording that is much longer,
// without holding all of it, and gets what the short recording gives.
func TestLongFile(t *testing.T) {
	d := sweep.Default()
	d.Seconds, d.RateHz, d.StopHz, d.LeadSeconds = 1, 8000, 3800, 1
	x := append(make([]float64, 4000), d.Signal()...)
	short := [][]float64{x, delayed(x, 3)[:len(x)]}
	long := make([][]float64, 2)
	for e := range long {
		long[e] = make([]float64, 300*8000)
		noise(long[e], 1e-5, uint64(e))
		for i, v := range x {
			long[e][200*8000+3*e+i] += v
		}
	}
	p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2})
	dir := t.TempDir()
	var recs []response.Recording
	for i, ch := range [][][]float64{short, long} {
		path := filepath.Join(dir, []string{"short.wav", "long.wav"}[i])
		if err := wavfile.Write(path, wavfile.Format{RateHz: 8000, Channels: 2, Bits: 32}, ch); err != nil {
			t.Fatal(err)
		}
		rec, err := processFile(p, path)
		if err != nil {
			t.Fatal(err)
		}
		if len(rec.Quality.Findings) > 0 || rec.Used != 2 {
			t.Errorf("%s: %+v", path, rec.Quality)
		}
		recs = append(recs, rec)
	}
	for i, v := range recs[0].Ears[0].LevelDB {
		if recs[0].Ears[0].Valid[i] && math.Abs(v-recs[1].Ears[0].LevelDB[i]) > 0.01 {
			t.Errorf("band %d: %.4f dB and %.4f dB", i, v, recs[1].Ears[0].LevelDB[i])
		}
	}
}
