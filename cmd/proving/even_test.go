package main

import (
	"math"
	"testing"

	"asworn/cmd/internal/simulate"
)

// Over cups that answer nearly alike to opposite displacements the sound does not make
// worse what a ruler said: worn seatings come out nearer than as they were read.
func TestSoundDoesNotSpoilReadings(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	var estimated, read, n float64
	for g, seed := range map[string]uint64{"b": barSeed("b", "read-even"), "d": 72001} {
		c := named("read-even")
		c.design.Laws = generators[g].laws
		s, err := proveOne(t.Context(), c, generators[g].world, seed, proved)
		if err != nil || s.failed != nil {
			t.Fatal(err, s.failed)
		}
		drawn := simulate.Draw(seed, c.design, generators[g].world)
		for a := range 2 {
			for _, x := range s.trials[wornHeadset][a] {
				estimated += x.err * x.err
			}
			for _, err := range rulerErrors(drawn, a) {
				read += err * err
				n++
			}
		}
	}
	estimated, read = math.Sqrt(estimated/n), math.Sqrt(read/n)
	t.Logf("worn seatings err by %.2f mm, as read by %.2f mm", estimated, read)
	if estimated > read {
		t.Errorf("worn seatings err by %.2f mm, as they were read by %.2f mm", estimated, read)
	}
}

// rulerErrors are the errors of the worn readings of a study along an axis against the
// mean reading of the survey's rows without a turn, less their displacements.
func rulerErrors(s *simulate.Study, axis int) (out []float64) {
	for m := range s.Models {
		var mark, rows float64
		for _, r := range s.Rows {
			if r.ModelIndex == m && r.OnFixture() && r.Survey != nil && r.Survey.RotationDeg == 0 && r.Read != nil {
				mark += [2]float64{r.Read.ForwardMM, r.Read.UpMM}[axis] - r.Survey.Vector()[axis]
				rows++
			}
		}
		for _, r := range s.Rows {
			if r.ModelIndex == m && !r.OnFixture() && r.Survey == nil && r.Read != nil {
				out = append(out, [2]float64{r.Read.ForwardMM, r.Read.UpMM}[axis]-mark/rows-r.Headset()[axis])
			}
		}
	}
	return out
}
