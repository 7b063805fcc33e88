package capture_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/study"
	"asworn/capture/sweep"
	"asworn/capture/wavfile"
)

// reseatFolder is the open data of real seatings, laid beside the checkout or
// where ASWORN_RESEAT says;
// its README says what it is. It is too large to be committed.
func reseatFolder(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("ASWORN_RESEAT")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared", "data", "reseat")
	}
	if _, err := os.Stat(filepath.Join(dir, "excitation.wav")); err != nil {
		t.Skipf("the recordings of real seatings are not beside the checkout: %v", err)
	}
	return dir
}

func readAll(t testing.TB, path string) (wavfile.Format, [][]float64) {
	t.Helper()
	f, x, err := wavfile.ReadAll(path)
	if err != nil {
		t.Fatal(err)
	}
	return f, x
}

// measurersWindow cuts as the published impulse responses are cut: 4096 samples
// with the direct sound at sample 6 or 7, no fade before and one of 256 after.
func measurersWindow(rate float64) study.Window {
	return study.Window{PreSeconds: 6 / rate, FadeInSeconds: 0.1 / rate,
		PostSeconds: 4090 / rate, FadeOutSeconds: 256 / rate}
}

// TestRealSeatings compares the responses of ten real recordings with the
// impulse responses that their measurers published.
func TestRealSeatings(t *testing.T) {
	dir := reseatFolder(t)
	format, excitation := readAll(t, filepath.Join(dir, "excitation.wav"))
	rate := float64(format.RateHz)
	p, err := capture.NewProcessor(study.Setup{
		Sweep: sweep.Design{RateHz: rate}, Excitation: excitation[0], Left: 1, Right: 2,
		Window: measurersWindow(rate)})
	if err != nil {
		t.Fatal(err)
	}
	bands := band.All()
	var all []float64
	for n := 1; n <= 10; n++ {
		r, err := wavfile.Open(filepath.Join(dir, "unit-b", fmt.Sprintf("recording-%02d.wav", n)))
		if err != nil {
			t.Fatal(err)
		}
		rec, err := p.Process(r)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%02d: drift %.2f ± %.2f ppm, findings %v", n, rec.DriftPPM, rec.DriftSEPPM, rec.Quality.Findings)
		_, theirs := readAll(t, filepath.Join(dir, "unit-b", fmt.Sprintf("impulse-%02d.wav", n)))
		for e, x := range theirs {
			want := levels(t, rate, x, bands)
			var diff []float64
			var at []float64
			for i, b := range bands {
				if b.Lower < 30 || b.Upper > 16000 {
					continue
				}
				if !rec.Ears[e].Valid[i] {
					t.Errorf("recording %d, %s: %.0f Hz is not valid", n, study.Ear(e), b.Mid)
				}
				diff = append(diff, rec.Ears[e].LevelDB[i]-want[i])
				at = append(at, b.Mid)
			}
			// Levels are arbitrary: take out one gain per channel.
			sorted := slices.Sorted(slices.Values(diff))
			gain := sorted[len(sorted)/2]
			big, where := 0.0, 0.0
			for i, d := range diff {
				a := math.Abs(d - gain)
				all = append(all, a)
				if a > big {
					big, where = a, at[i]
				}
			}
			t.Logf("%02d %s: worst %.3f dB at %.0f Hz", n, study.Ear(e), big, where)
			if big > 0.11 {
				t.Errorf("recording %d, %s: %.3f dB from the measurers' response at %.0f Hz, want at most 0.11", n, study.Ear(e), big, where)
			}
		}
	}
	slices.Sort(all)
	if m := all[len(all)/2]; m > 0.003 {
		t.Errorf("median difference %.4f dB, want at most 0.003", m)
	} else {
		t.Logf("median %.4f dB, worst %.3f dB over %d levels", m, all[len(all)-1], len(all))
	}
}

// levels returns the band levels of an impulse response.
func levels(t testing.TB, rate float64, h []float64, bands []band.Band) []float64 {
	t.Helper()
	bp, err := deconv.NewBandPower(rate, len(h), bands)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]float64, len(bands))
	bp.Mean(out, h)
	for i := range out {
		out[i] = 10 * math.Log10(out[i])
	}
	return out
}

// TestRealResponsesThroughASweep plays a designed sweep through the published
// impulse responses and looks for their levels: real ears as known filters.
func TestRealResponsesThroughASweep(t *testing.T) {
	const rate = 44100
	d := sweep.Default()
	d.RateHz, d.StopHz, d.Seconds = rate, 21500, 2
	p, err := capture.NewProcessor(study.Setup{Sweep: d, Left: 1, Right: 2})
	if err != nil {
		t.Fatal(err)
	}
	x := delayed(d.Signal(), 700)
	bands := band.All()
	for _, n := range []int{1, 4, 10} {
		_, ears := readAll(t, filepath.Join("..", "testdata", "reseat", "unit-b", fmt.Sprintf("impulse-%02d.wav", n)))
		rec, err := p.ProcessSamples([][]float64{convolve(x, ears[0]), convolve(x, ears[1])}, rate)
		if err != nil {
			t.Fatal(err)
		}
		if len(rec.Quality.Findings) > 0 {
			t.Errorf("seating %d: findings on a good recording: %+v", n, rec.Quality.Findings)
		}
		for e, h := range ears {
			want := levels(t, rate, h, bands)
			for i, b := range bands {
				if b.Lower < 19.8 || b.Upper > 20500 {
					continue
				}
				if d := math.Abs(rec.Ears[e].LevelDB[i] - want[i]); !rec.Ears[e].Valid[i] || d > 0.01 {
					t.Errorf("seating %d, %s, %.1f Hz: %.4f dB off (valid %v), want at most 0.01", n, study.Ear(e), b.Mid, d, rec.Ears[e].Valid[i])
				}
			}
		}
	}
}

// convolve returns x filtered by h, as long as x.
func convolve(x, h []float64) []float64 {
	fft := deconv.NewFFT(deconv.FastLen(len(x) + len(h)))
	a, b := make([]complex128, fft.Bins()), make([]complex128, fft.Bins())
	seq := make([]float64, fft.Len())
	copy(seq, x)
	fft.Forward(a, seq)
	clear(seq)
	copy(seq, h)
	fft.Forward(b, seq)
	for i := range a {
		a[i] *= b[i]
	}
	fft.Inverse(seq, a)
	return seq[:len(x)]
}
