package correct

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/standout"
	"asworn/fitcorr/verdict"
)

// TestFinalCurves holds the final curve against the level at the true worn
// mean: seatings that match go in, one far off goes in corrected or stays out,
// and the interval covers.
func TestFinalCurves(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	var bands, covered, adjusted, kept int
	studies := 10
	if toy.Long() {
		studies = 100
	}
	for seed := range uint64(studies) {
		rng := rand.New(rand.NewPCG(seed, 2))
		at := [][3]float64{{5, 0}, {-1, -5}}
		for range 5 {
			at = append(at, [3]float64{0.5 + 0.8*rng.NormFloat64(), -0.5 + 0.8*rng.NormFloat64()})
		}
		st := simulateFixture(t, seed, at, [3]float64{0.5, -0.5}, 0.6, 0.8, 0.3)
		opt := seat.DefaultOptions()
		corr := New(st.Seatings, capture.Blocked, st.survey, st.offsets, st.worn, opt)
		var verdicts []verdict.Verdict
		for i := range at {
			v := verdict.Verdict{ID: st.offsets[i].ID, Seating: i, Outcome: verdict.Use}
			if i < 2 {
				v.Outcome = verdict.Move
			}
			verdicts = append(verdicts, v)
		}
		out := FinalCurves(st.Seatings, verdicts, corr.Corrections(st.Seatings), Correctors{capture.Blocked: corr}, []standout.StandOut{{ID: "f6", Ear: capture.Left, Band: "high", Flagged: true}}, opt)
		if len(out) != 4 {
			t.Fatalf("%d curves, want two points and two ears", len(out))
		}
		for k, c := range out {
			for i, mem := range c.Members {
				switch {
				case i < 2:
					adjusted++
					if mem.Used {
						kept++
					}
					if mem.Used && !mem.Corrected && !strings.Contains(mem.Why, "hardly") {
						t.Errorf("off its place, used as it is: %s", mem.Why)
					}
				case mem.Used == (i == 6 && c.Ear == capture.Left):
					t.Errorf("%s ear, seating %d: used %v (%s)", c.Ear, i, mem.Used, mem.Why)
				}
			}
			for b, f := range band.All() {
				if !c.Valid[b] || f.Mid < 500 || f.Mid > 12000 || b%seat.PerThird != 0 {
					continue
				}
				want := st.Paths[k%2].Level(f.Mid, st.WornAt)
				if c.Point == capture.Drum {
					want += st.Drum(f.Mid, st.WornAt)
				}
				bands++
				if math.Abs(c.LevelDB[b]-want) <= c.HalfDB[b] {
					covered++
				}
			}
			last := c.Budget[len(c.Budget)-1]
			sum := 0.0
			for _, r := range c.Budget[:len(c.Budget)-1] {
				sum += r.StdDB[20] * r.StdDB[20]
			}
			if math.Abs(math.Sqrt(sum)-last.StdDB[20]) > 1e-9 {
				t.Errorf("budget rows combine to %.4f dB, total is %.4f dB", math.Sqrt(sum), last.StdDB[20])
			}
		}
	}
	share := float64(covered) / float64(bands)
	t.Logf("interval covers %.3f of %d bands; of %d ears off their place %d went in corrected", share, bands, adjusted, kept)
	if share < 0.9 {
		t.Errorf("interval covers %.3f, want about 0.95", share)
	}
}

func TestAgainstReference(t *testing.T) {
	fc := FinalCurve{LevelDB: make([]float64, band.Count), HalfDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	ref := make([]float64, band.Count) // falls by 1 dB per octave, 0 dB at 1 kHz
	for b, f := range band.All() {
		ref[b], fc.Valid[b], fc.HalfDB[b] = -math.Log2(f.Mid/1000), b != 7, 0.5
	}
	got := fc.Level().Less(ref)
	for b, f := range band.All() {
		if want := math.Log2(f.Mid / 1000); got.Valid[b] != (b != 7) || got.Valid[b] && (math.Abs(got.DB[b]-want) > 1e-12 || got.Half[b] != 0.5) {
			t.Fatalf("%.0f Hz: %.3f ± %.3f dB (%v), want %.3f ± 0.5", f.Mid, got.DB[b], got.Half[b], got.Valid[b], want)
		}
	}
	if short := fc.Level().Less(ref[:9]); short.Valid[9] || !short.Valid[8] {
		t.Error("a band without a reference counts")
	}
}

// An undetermined seating stays out, whatever its correction; the curve says what it is made of.
func TestUndeterminedStaysOut(t *testing.T) {
	row := func(n int) seat.Seating {
		var s seat.Seating
		s.ID, s.Model, s.Subject, s.Point, s.Number = fmt.Sprint(n), "Model A", capture.FixtureSubject, capture.Drum, n
		for e := range s.Ears {
			s.Ears[e] = seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			for b := range s.Ears[e].Valid {
				s.Ears[e].LevelDB[b], s.Ears[e].Valid[b] = float64(n), true
			}
		}
		return s
	}
	full := func(n int) Correction {
		c := Correction{ID: fmt.Sprint(n), Ear: capture.Left, PredictedDB: make([]float64, band.Count), DeltaDB: make([]float64, band.Count), Applied: make([]bool, band.Count), StdErrDB: make([]float64, band.Count)}
		for b := range c.Applied {
			c.Applied[b], c.PredictedDB[b], c.DeltaDB[b] = true, 1, 1
		}
		return c
	}
	rows := []seat.Seating{row(1), row(2), row(3)}
	verdicts := map[int]verdict.Verdict{1: {Outcome: verdict.Use}, 2: {Outcome: verdict.Undetermined}, 3: {Outcome: verdict.Move}}
	ch := chooser{verdicts: verdicts, corrections: []Correction{full(2), full(3)}}
	fc := FinalCurve{Point: capture.Drum, Ear: capture.Left}
	fc.average(ch.choose(rows, &fc), 0)
	if fc.Used != 2 || fc.Corrected != 1 || fc.Members[1].Used || !strings.Contains(fc.Members[1].Why, "undetermined") {
		t.Errorf("%+v", fc.Members)
	}
	if fc.LevelDB[50] != 2.5 { // (1 + (3 + 1)) / 2
		t.Errorf("level %g, want the mean of 1 and a corrected 4", fc.LevelDB[50])
	}
	if got, want := fc.MadeOf(), "2 seatings at the drum reference point, left ear: 1 as measured, 1 corrected to the worn mean; 1 of 3 left out"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
