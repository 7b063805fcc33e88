package capture_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// TestLossyCodingRealSeatings codes real recordings (with ASWORN_LONG all ten), a sweep without silences at
// 44.1 kHz, and holds them as they are beside it. Three of the twenty channels are clipped,
// and not looked at.
func TestLossyCodingRealSeatings(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		t.Skip("ffmpeg is not installed")
	}
	dir := reseatFolder(t)
	format, excitation := readAll(t, filepath.Join(dir, "excitation.wav"))
	rate := float64(format.RateHz)
	p := processor(t, study.Setup{Sweep: sweep.Design{RateHz: rate}, Excitation: excitation[0], Left: 1, Right: 2, Window: measurersWindow(rate)})
	heard := func(ch [][]float64) bool {
		rec, err := p.ProcessSamples(ch, rate)
		if err != nil {
			t.Fatal(err)
		}
		return finding.Has(rec.Quality.Findings, finding.LossyCoding)
	}
	all := slices.Concat(coders, lowRates)
	found, wrong := make([]int, len(all)), 0
	recordings := 2
	if os.Getenv("ASWORN_LONG") != "" {
		recordings = 10
	}
	for n := 1; n <= recordings; n++ {
		_, ch := readAll(t, filepath.Join(dir, "unit-b", fmt.Sprintf("recording-%02d.wav", n)))
		for c, coder := range all {
			spoilt, err := coded(ch, format.RateHz, coder.codec, coder.container, coder.bitRate)
			if err != nil {
				t.Fatal(err)
			}
			if heard(spoilt) {
				found[c]++
			}
		}
		if heard(ch) {
			wrong++
		}
	}
	for c, coder := range all {
		t.Logf("%s: %d of %d", coder.name, found[c], recordings)
		if coder.sure && found[c] < recordings*9/10 {
			t.Errorf("%s: %d of %d found", coder.name, found[c], recordings)
		}
	}
	if wrong > 0 {
		t.Errorf("not coded: %d of %d have it", wrong, recordings)
	}
}
