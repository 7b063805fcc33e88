package simulate_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/piston"
)

func TestSameSeedSameStudy(t *testing.T) {
	d := simulate.BarDesign()
	d.Listeners, d.Seatings, d.SurveySize = 2, 2, 3
	a, b := simulate.Draw(7, d, piston.World), simulate.Draw(7, d, piston.World)
	if diff := cmp.Diff(a.Rows, b.Rows); diff != "" {
		t.Error(diff)
	}
	x, err := a.Seatings(t.Context(), 7, 1)
	if err != nil {
		t.Fatal(err)
	}
	y, err := b.Seatings(t.Context(), 7, 2)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(x, y); diff != "" {
		t.Error(diff)
	}
	if cmp.Equal(a.Rows[0].True, simulate.Draw(8, d, piston.World).Rows[0].True) {
		t.Error("another seed gives the same study")
	}
}

// The stated standard error of a level is the spread of its noise.
func TestNoiseIsAsStated(t *testing.T) {
	d := simulate.BarDesign()
	d.Listeners, d.Seatings, d.Closed, d.Open, d.SurveySize, d.BareEar, d.NoiseDB = 1, 1, 1, 0, 0, false, 20
	s := simulate.Draw(1, d, piston.World)
	s.Rows = s.Rows[:1]
	const n = 400
	sum, sum2 := make([]float64, 248), make([]float64, 248)
	var se []float64
	for seed := range uint64(n) {
		x, err := s.Seatings(t.Context(), seed, 1)
		if err != nil {
			t.Fatal(err)
		}
		for b, l := range x[0].Ears[0].LevelDB {
			sum[b] += l / n
			sum2[b] += l * l / n
		}
		se = x[0].Ears[0].StdErrDB
	}
	for b := range sum {
		got := math.Sqrt(sum2[b] - sum[b]*sum[b])
		if r := got / se[b]; r < 0.65 || r > 1.5 { // the last draw's se is itself 10 % uncertain
			t.Errorf("band %d: spread %.4f dB, stated %.4f", b, got, se[b])
		}
	}
}

// The loss of everybody is that of the seatings drawn, but for the draw.
func TestPeopleLoss(t *testing.T) {
	for _, laws := range []simulate.Laws{simulate.NormalLaws, simulate.UnlikeLaws} {
		d := simulate.BarDesign()
		d.Listeners, d.Seatings, d.Closed, d.Open, d.LeakChance, d.Scatter, d.Laws = 400, 5, 1, 0, 0.5, 0, laws
		s := simulate.Draw(4, d, func(seed uint64, d simulate.Design, open []bool) simulate.Acoustics {
			d.Listeners = 1
			return piston.World(seed, d, open)
		})
		var sum, n float64
		for _, r := range s.Rows {
			if r.ModelIndex == 0 && !r.OnFixture() {
				sum += s.World.Seal(0, 0, capture.Right, r.True[capture.Right]).LossDB[1]
				n++
			}
		}
		if want, got := sum/n, s.PeopleLossDB(0, capture.Right); math.Abs(got-want) > 0.4 || want < 1 {
			t.Errorf("laws %d: %.2f dB, drawn %.2f dB", laws, got, want)
		}
	}
}

// Readings change nothing that is heard.
func TestReadingsAreNotHeard(t *testing.T) {
	d := simulate.BarDesign()
	d.Listeners, d.Seatings, d.SurveySize, d.DisplacedListeners = 3, 2, 3, 1
	plain := simulate.Draw(7, d, piston.World)
	d.Readings = true
	s := simulate.Draw(7, d, piston.World)
	s.Rows, plain.Rows = s.Rows[:2], plain.Rows[:2]
	with, err := s.Seatings(t.Context(), 7, 1)
	if err != nil {
		t.Fatal(err)
	}
	without, err := plain.Seatings(t.Context(), 7, 1)
	if err != nil {
		t.Fatal(err)
	}
	for i := range with {
		if with[i].Read == nil || without[i].Read != nil {
			t.Errorf("row %d: reading %v with, %v without", i, with[i].Read, without[i].Read)
		}
		with[i].Read = nil
	}
	if diff := cmp.Diff(without, with); diff != "" {
		t.Error("what is heard differs:", diff)
	}
}
