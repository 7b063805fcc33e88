package standout

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/wavfile"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// reseatSeatings reads the ten impulse responses of the open data
// (testdata/reseat, with its attribution) as drum seatings. The noise of these
// files is not known and left at zero.
func reseatSeatings(t *testing.T) []seat.Seating {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "reseat", "unit-b", "impulse-*.wav"))
	if err != nil || len(files) != 10 {
		t.Fatalf("%d impulse responses in testdata/reseat/unit-b, want 10 (%v)", len(files), err)
	}
	var ss []seat.Seating
	for n, name := range files {
		_, channels, err := wavfile.ReadAll(name)
		if err != nil {
			t.Fatal(err)
		}
		s := seat.Seating{ID: filepath.Base(name), Model: "Unit B", Subject: capture.FixtureSubject, Point: capture.Drum, Number: n + 1}
		for ear := range s.Ears {
			s.Ears[ear] = seat.Curve{LevelDB: bandLevels(channels[ear], 44100), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			for k, b := range band.All() {
				s.Ears[ear].Valid[k] = b.Mid > 20
			}
		}
		ss = append(ss, s)
	}
	return ss
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

// TestReseatStandOuts: of the ten real seatings, the right ear of the sixth
// lost its seal. A plain median and MAD over the low bands, without any model,
// must see the same one first.
func TestReseatStandOuts(t *testing.T) {
	ss := reseatSeatings(t)
	for _, so := range Find(ss, seat.DefaultOptions()) {
		want := so.ID == "impulse-06.wav" && so.Ear == "right" && so.Band == "low"
		if so.Flagged != want {
			t.Errorf("flagged %v, want %v: %s", so.Flagged, want, so)
		}
		if so.Flagged || so.P < 0.9 {
			t.Log(so)
		}
	}
	for ear, name := range []string{"left", "right"} {
		for _, sb := range standOutBands {
			mean := make([]float64, len(ss)) // mean robust z over the bands
			for b := sb.from; b < sb.to; b++ {
				var x, dev []float64
				for _, s := range ss {
					x = append(x, s.Ears[ear].LevelDB[b])
				}
				m := stats.Median(x)
				for _, v := range x {
					dev = append(dev, math.Abs(v-m))
				}
				for i, v := range x {
					mean[i] += math.Abs(v-m) / (1.4826 * stats.Median(dev)) / float64(sb.to-sb.from)
				}
			}
			worst := 0
			for i := range mean {
				if mean[i] > mean[worst] {
					worst = i
				}
			}
			t.Logf("median and MAD, %s ear, %s band: farthest %s, mean robust z %.1f (median member %.1f)", name, sb.name, ss[worst].ID, mean[worst], stats.Median(mean))
			if name == "right" && sb.name == "low" && ss[worst].ID != "impulse-06.wav" {
				t.Errorf("median and MAD put %s farthest", ss[worst].ID)
			}
		}
	}
}

// TestStandOutSizeOnRealCovariance draws groups from the covariance that the
// real seatings show (both ears and all bands together) and runs the whole
// search, scales included: the share of groups in which anything is flagged
// on an ear must not exceed the size.
func TestStandOutSizeOnRealCovariance(t *testing.T) {
	real := reseatSeatings(t)
	mean := [2][]float64{make([]float64, band.Count), make([]float64, band.Count)}
	for _, s := range real {
		for e := range mean {
			for b, v := range s.Ears[e].LevelDB {
				mean[e][b] += v / float64(len(real))
			}
		}
	}
	trials := 60
	if toy.Long() {
		trials = 1000
	}
	for _, n := range []int{5, 10} {
		rng := rand.New(rand.NewPCG(9, uint64(n)))
		var flagged [2]int
		for range trials {
			var ss []seat.Seating
			for i := range n {
				s := real[0]
				s.ID = fmt.Sprint(i)
				z := make([]float64, len(real))
				for j := range z {
					z[j] = rng.NormFloat64() / math.Sqrt(float64(len(real)-1))
				}
				for e := range s.Ears {
					level := slices.Clone(mean[e])
					for j, r := range real {
						for b, v := range r.Ears[e].LevelDB {
							level[b] += z[j] * (v - mean[e][b])
						}
					}
					s.Ears[e].LevelDB = level
				}
				ss = append(ss, s)
			}
			var some [2]bool
			for _, so := range Find(ss, seat.DefaultOptions()) {
				for e, ear := range capture.Ears {
					some[e] = some[e] || so.Flagged && so.Ear == ear.String()
				}
			}
			for e := range some {
				if some[e] {
					flagged[e]++
				}
			}
		}
		size := 1 - seat.DefaultOptions().Confidence
		for e, ear := range capture.Ears {
			share := float64(flagged[e]) / float64(trials)
			t.Logf("groups of %d, %s ear: flagged in %.3f of %d groups", n, ear, share, trials)
			if share > size+3*math.Sqrt(size*(1-size)/float64(trials)) {
				t.Errorf("groups of %d, %s ear: flagged in %.3f, size %.2f", n, ear, share, size)
			}
		}
	}
}
