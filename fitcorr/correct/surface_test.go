package correct

import (
	"math"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// A placed seating whose place is known is one more row of the survey: learning from
// it must say the same as the survey that holds it as a row, whose surface is
// checked against scikit-learn (TestSurfaceVectors).
func TestLearnIsOneMoreRow(t *testing.T) {
	st := simulateFixture(t, 3, nil, [3]float64{}, 0.5, 0.5, 0.3)
	rows := survey.Rows(st.Seatings, capture.Blocked)
	slip := slices.Repeat([]float64{1}, len(rows))
	const ear = 0
	whole := &st.survey.Ears[ear]
	out := []int{7, 11}
	less, ok := whole.Without(rows, ear, slip, out)
	if !ok {
		t.Fatal("too few rows")
	}
	g := newGround(&less)
	var placed []*placedSeating
	for k, i := range out {
		s := &placedSeating{number: k, noise: 1, counts: slices.Repeat([]bool{true}, len(less.Zones))}
		for b := range band.Count {
			s.level = append(s.level, rows[i].Ears[ear].LevelDB[b]-less.BaseDB[b])
		}
		s.place(g, [][3]float64{whole.At[i]})
		placed = append(placed, s)
	}
	d := [3]float64{2, -3, 0}
	targets := g.see([][3]float64{d, {}}, nil)
	var got conditioned
	got.condition(newWitnesses(g, placed, 0), [2]view{{targets, 0}, {targets, 1}}, nil, false)
	// One that is left out and heard at the second target is there as any other.
	odd := &placedSeating{number: 2, level: placed[0].level, noise: 2, counts: placed[0].counts}
	odd.place(g, [][3]float64{{}})
	three := newWitnesses(g, append(slices.Clone(placed), odd), 0)
	var all, without, again conditioned
	all.condition(three, [2]view{{targets, 0}, {targets, 1}}, nil, false)
	without.condition(three, [2]view{{targets, 0}, {targets, 1}}, odd, false)
	again.condition(three, [2]view{{targets, 0}, {targets, 1}}, odd, true)
	for end := range targets.at {
		for b := range band.Count {
			if v, w := without.level[end][b], got.level[end][b]; math.Abs(v-w) > 1e-6 {
				t.Fatalf("band %d: %.6f dB with one left out, %.6f dB without it", b, v, w)
			}
			if v, w := again.level[end][b], all.level[end][b]; math.Abs(v-w) > 1e-6 {
				t.Fatalf("band %d: %.6f dB with one heard after the others, %.6f dB with them", b, v, w)
			}
		}
	}
	for zi, r := range all.root {
		for k, v := range again.root[zi] {
			if math.Abs(v-r[k]) > 1e-6 {
				t.Fatalf("zone %d: root %v and %v", zi, r, again.root[zi])
			}
		}
	}
	want := make([]float64, band.Count)
	whole.Change(want, d, whole.AtMark())
	alone := make([]float64, band.Count)
	less.Change(alone, d, less.AtMark())
	_, stderr := st.survey.Predict(ear, d)
	differs := 0.0
	for zi, z := range whole.Zones {
		r := got.root[zi]
		sd := math.Sqrt(math.Pow(r[0]-r[1], 2) + r[2]*r[2])
		for b := z.From; b < z.To; b++ {
			if !g.tells[b] {
				continue
			}
			if v := got.level[0][b] - got.level[1][b]; math.Abs(v-want[b]) > 1e-4 {
				t.Fatalf("band %d: %.6f dB, as a row of the survey %.6f dB", b, v, want[b])
			}
			if math.Abs(sd-stderr[b]/whole.Scatter[b]) > 1e-3 {
				t.Fatalf("band %d: standard deviation %.5f of the scatter, as a row %.5f", b, sd, stderr[b]/whole.Scatter[b])
			}
			differs = math.Max(differs, math.Abs(alone[b]-want[b]))
		}
	}
	if differs < 0.1 {
		t.Errorf("the rows left out change the surface by %.3f dB at most: the test shows nothing", differs)
	}
}

// A seating that the survey does not explain, such as one whose microphone
// fell, must not draw the others' corrections after it.
func TestOddSeatingHardlyCounts(t *testing.T) {
	at := [][3]float64{{0.5, -0.5, 0}, {4, 1, 0}, {-3, 2, 0}, {1, -4, 0}}
	st := simulateFixture(t, 5, at, [3]float64{0.5, -0.5, 0}, 0.5, 0.5, 0.2)
	odd := simulateFixture(t, 5, at, [3]float64{0.5, -0.5, 0}, 0.5, 0.5, 0.2)
	for i, s := range odd.Seatings {
		if s.ID == "f0" {
			for b, f := range band.All() {
				odd.Seatings[i].Ears[0].LevelDB[b] += 8 * math.Sin(6*math.Log2(f.Mid/1000))
			}
		}
	}
	change := func(st fixtureStudy) (*placedSeating, []float64) {
		c := New(st.Seatings, capture.Blocked, st.survey, st.offsets, st.worn, seat.DefaultOptions())
		return c.placed(0, 0), c.predict(1, c.offsets[1], 0).delta
	}
	usual, want := change(st)
	fallen, got := change(odd)
	if usual.noise > 4 || fallen.noise < 20 {
		t.Errorf("variance %.1f of an ordinary seating, %.1f of the odd one", usual.noise, fallen.noise)
	}
	sq := 0.0
	for b := range got {
		sq += (got[b] - want[b]) * (got[b] - want[b]) / float64(len(got))
	}
	if math.Sqrt(sq) > 0.3 {
		t.Errorf("another seating's correction changes by %.2f dB RMS", math.Sqrt(sq))
	}
}

// A seating heard at the drum alone is corrected as well, by what the survey
// and the others say.
func TestSeatingWithoutItsBlockedCurve(t *testing.T) {
	at := [][3]float64{{0.5, -0.5, 0}, {4, 1, 0}, {-3, 2, 0}, {1, -4, 0}}
	st := simulateFixture(t, 5, at, [3]float64{0.5, -0.5, 0}, 0.5, 0.5, 0.2)
	st.Seatings = slices.DeleteFunc(st.Seatings, func(s seat.Seating) bool { return s.ID == "f1" })
	for _, c := range New(st.Seatings, capture.Blocked, st.survey, st.offsets, st.worn, seat.DefaultOptions()).Corrections(st.Seatings) {
		if c.ID == "f1d" && !slices.Contains(c.Applied, true) {
			t.Errorf("%s %s is not corrected: %s", c.ID, c.Ear, c.Withheld)
		}
	}
}
