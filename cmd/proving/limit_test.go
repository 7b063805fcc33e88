package main

import (
	"math"
	"os"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
)

// TestSurveyLimit tells what the fixture's own seatings are worth to a
// correction: seatings 4 mm off are moved to the true worn mean from where they
// truly are by the survey alone, and corrected, from where they are estimated to
// be, by survey and seatings together. What the first leaves is what the survey
// does not know of the response between its displacements, and what scatters
// anyhow. With ASWORN_LONG set; it logs, and fails only where even knowing all
// places is no help.
func TestSurveyLimit(t *testing.T) {
	if os.Getenv("ASWORN_LONG") == "" {
		t.Skip("set ASWORN_LONG")
	}
	for _, c := range []struct {
		generator string
		survey    int
	}{{"a", 15}, {"b", 15}, {"b", 25}, {"c", 15}} {
		d := simulate.BarDesign()
		d.Readings, d.SurveySize, d.FixtureOffsetsMM = true, c.survey, []float64{0, 0, 4, 4, 4, 4}
		var before, ideal, corrected, n float64
		for seed := uint64(7000); seed < 7003; seed++ {
			study := simulate.Draw(seed, d, generators[c.generator].world)
			measured, err := study.Seatings(t.Context(), seed, 0)
			if err != nil {
				t.Fatal(err)
			}
			a, frozen, err := fitcorr.Analyse(t.Context(), measured, fitcorr.DefaultOptions())
			if err != nil {
				t.Fatal(err)
			}
			aim := simulate.NewAim(study)
			for i, r := range study.Rows {
				m := r.ModelIndex
				if m < 0 || !r.OnFixture() || r.Survey != nil || r.Point != capture.Blocked {
					continue
				}
				target, at := study.Target(m), r.Headset()
				if math.Hypot(at[0]-target[0], at[1]-target[1]) < 3.9 {
					continue
				}
				for _, ear := range capture.Ears {
					there, _ := frozen.Models[m].Blocked.Survey.Predict(int(ear), target)
					here, _ := frozen.Models[m].Blocked.Survey.Predict(int(ear), r.True[ear].Vector())
					delta := correctionOf(a.Models[m].Corrections, r.File, ear)
					want, curve := aim.LevelDB(m, ear, capture.Blocked), measured[i].Ears[ear]
					left := func(change func(b int) float64) float64 {
						var square, count float64
						for b, f := range band.All() {
							if curve.Valid[b] && f.Mid >= wholeLowHz && f.Mid <= wholeHighHz {
								v := want[b] - curve.LevelDB[b] - change(b)
								square += v * v
								count++
							}
						}
						return math.Sqrt(square / count)
					}
					before += left(func(int) float64 { return 0 })
					ideal += left(func(b int) float64 { return there[b] - here[b] })
					corrected += left(func(b int) float64 { return delta[b] })
					n++
				}
			}
		}
		t.Logf("%s, %d displacements: %.2f dB before, %.2f dB by the survey with all places known, %.2f dB corrected (%g curves)",
			c.generator, c.survey, before/n, ideal/n, corrected/n, n)
		if n == 0 || ideal > 0.8*before {
			t.Errorf("%s: the survey does not know how the response moves", c.generator)
		}
	}
}

// correctionOf returns what was added to one curve.
func correctionOf(all []fitcorr.Correction, file string, ear capture.Ear) []float64 {
	for _, c := range all {
		if c.ID == file && c.Ear == ear {
			return c.DeltaDB
		}
	}
	return make([]float64, band.Count)
}
