package pipeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/capture/finding"
	"asworn/capture/sweep"
	"asworn/cmd/internal/simulate"
)

// dynamics is a limiter or a compressor with the smooth branching peak detector in
// decibels of Giannoulis, Massberg & Reiss (J. Audio Eng. Soc. 60(6), 2012, quoted from
// memory), for both channels together where they are linked, else for each.
type dynamics struct {
	name                string
	underDB, ratio      float64 // threshold under the highest peak of both channels
	attackMS, releaseMS float64
	linked              bool
}

func (d dynamics) String() string { return fmt.Sprintf("%s, release %.0f ms", d.name, d.releaseMS) }

// run changes samples of a rate in hertz.
func (d dynamics) run(ch [2][]float64, rate float64) {
	top := max(slices.Max(ch[0]), -slices.Min(ch[0]), slices.Max(ch[1]), -slices.Min(ch[1]))
	threshold := 20*math.Log10(top) - d.underDB
	attack, release := math.Exp(-1000/d.attackMS/rate), math.Exp(-1000/d.releaseMS/rate)
	over := func(v float64) float64 {
		return (1 - 1/d.ratio) * max(0, 20*math.Log10(math.Abs(v))-threshold)
	}
	var held [2]float64 // dB that are taken
	for i := range ch[0] {
		want := [2]float64{over(ch[0][i]), over(ch[1][i])}
		if d.linked {
			want[0] = max(want[0], want[1])
			want[1] = want[0]
		}
		for e := range ch {
			keep := release
			if want[e] > held[e] {
				keep = attack
			}
			held[e] = keep*held[e] + (1-keep)*want[e]
			ch[e][i] *= math.Pow(10, -held[e]/20)
		}
	}
}

// studio records rows of a study: one sweep of 3 s, both ears and
// white noise 80 dB under the highest peak.
type studio struct {
	study *simulate.Study
	grid  *simulate.Grid
	p     *capture.Processor
	x     []float64 // the sweep as it is played
	rate  float64
}

const (
	studioResponse = 8192 // samples
	studioSamples  = 1 << 18
)

func newStudio(t *testing.T) *studio {
	t.Helper()
	d := sweep.Default()
	d.Repeats, d.GapSeconds = 1, 0
	p, err := capture.NewProcessor(capture.Setup{Sweep: d, Left: 1, Right: 2})
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, studioSamples)
	copy(x[int(0.6*d.RateHz):], d.Signal())
	return &studio{grid: simulate.UniformGrid(d.RateHz/studioResponse, d.RateHz/2), p: p, x: x, rate: d.RateHz}
}

// record returns what is measured of a row whose sound went through a limiter, nil for none.
// Levels are in dB re 1 Pa/V, as those of the study.
func (s *studio) record(t *testing.T, r *rand.Rand, row simulate.Row, through *dynamics) capture.Recording {
	t.Helper()
	ir, long := fourier.NewFFT(studioResponse), fourier.NewFFT(studioSamples)
	var ch [2][]float64
	top := 0.0
	for e := range ch {
		h := s.study.Pressure(row, capture.Ear(e), s.grid)
		for i, hz := range s.grid.Hz { // the converter's filter, and 5 ms of latency
			sin, cos := math.Sincos(-2 * math.Pi * hz * 0.005)
			h[i] *= complex(cos, sin) * complex(1/(1+math.Pow(hz/23000, 40)), 0)
		}
		h[0], h[len(h)-1] = 0, 0
		response := make([]float64, studioSamples)
		copy(response, ir.Sequence(nil, h))
		spectrum := long.Coefficients(nil, response)
		for i, v := range long.Coefficients(nil, s.x) {
			spectrum[i] *= v
		}
		ch[e] = long.Sequence(nil, spectrum)[:int(4.2*s.rate)]
		for i := range ch[e] {
			ch[e][i] /= studioResponse * studioSamples
		}
		top = max(top, slices.Max(ch[e]), -slices.Min(ch[e]))
	}
	if through != nil {
		through.run(ch, s.rate)
	}
	gain := 0.5 / top
	for _, x := range ch {
		for i := range x {
			x[i] = gain*x[i] + 5e-5*r.NormFloat64()
		}
	}
	rec, err := s.p.ProcessSamples(ch[:], s.rate)
	if err != nil {
		t.Fatal(err)
	}
	for e := range rec.Ears {
		for b := range rec.Ears[e].LevelDB {
			rec.Ears[e].LevelDB[b] -= 20 * math.Log10(gain)
		}
	}
	return rec
}

// TestPlantedInSound puts limiters and compressors with attack and release into the sound
// of recordings of invented studies, and looks for them in what is measured of it. With
// ASWORN_LONG set it takes more studies, of seeds that nothing was chosen by, and prints
// the table of docs/developing/quality.md.
func TestPlantedInSound(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	all := []*dynamics{nil}
	for _, d := range []dynamics{{name: "limiter, 10:1 from 6 dB", underDB: 6, ratio: 10},
		{name: "limiter, 10:1 from 3 dB", underDB: 3, ratio: 10}, {name: "compressor, 2:1 from 12 dB", underDB: 12, ratio: 2}} {
		for _, release := range []float64{50, 150, 500} {
			one := d
			one.releaseMS = release
			all = append(all, &one)
		}
	}
	seed, studies, kinds := uint64(1), uint64(2), ofKind[:1]
	if os.Getenv("ASWORN_LONG") != "" {
		seed, studies, kinds = 60001, 16, ofKind
	}
	d := simulate.BarDesign()
	d.FixtureOffsetsMM = nil
	s := newStudio(t)
	type count struct{ found, named, of int }
	counts := make([][3]count, len(all))
	called := map[finding.Code]int{}
	for w := seed; w < seed+studies; w++ {
		rows, recs := invented(t, w, d)
		s.study = simulate.Draw(w, d, worlds[w%4])
		good := traitsOf(recs)
		r := rand.New(rand.NewPCG(w, 19))
		for kind := range kinds {
			for k, planted := range all {
				i := r.IntN(len(rows))
				for !ofKind[kind].of(rows[i]) {
					i = r.IntN(len(rows))
				}
				if planted != nil {
					planted.attackMS, planted.linked = []float64{0.1, 1, 10}[r.IntN(3)], r.IntN(2) == 0
				}
				rec := s.record(t, r, s.study.Rows[i], planted)
				rec.LoopbackDB = recs[i].LoopbackDB
				others, traits := slices.Delete(slices.Clone(rows), i, i+1), slices.Delete(slices.Clone(good), i, i+1)
				fs := slices.DeleteFunc(compare.With(others, traits, rows[i], compare.TraitsOf(capture.Setup{}, rec), 0),
					func(f finding.Finding) bool { return !slices.Contains(ofGroups, f.Code) })
				c := &counts[k][kind]
				c.of++
				if len(fs) > 0 {
					c.found++
					if finding.Has(fs, finding.Compression) {
						c.named++
					} else if planted != nil {
						called[fs[0].Code]++
					}
				}
			}
		}
	}
	var table strings.Builder
	var worn count
	for k, planted := range all {
		name := "as it is"
		if planted != nil {
			name = planted.String()
			worn.found, worn.named, worn.of = worn.found+counts[k][0].found, worn.named+counts[k][0].named, worn.of+counts[k][0].of
		}
		fmt.Fprintf(&table, "| %s |", name)
		for _, c := range counts[k][:len(kinds)] {
			fmt.Fprintf(&table, " %d (%d) of %d |", c.found, c.named, c.of)
		}
		table.WriteString("\n")
	}
	t.Logf("found (named so)\n%scalled else: %v", table.String(), called)
	if worn.found*4 < worn.of*3 || worn.named*3 < worn.of {
		t.Errorf("worn: %d of %d found, %d named so; want three quarters and a third", worn.found, worn.of, worn.named)
	}
	if counts[0][0].found > 1 {
		t.Errorf("worn, as it is: %d of %d raise something", counts[0][0].found, counts[0][0].of)
	}
}
