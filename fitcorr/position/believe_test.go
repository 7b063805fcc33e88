package position

import (
	"math/rand/v2"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/placing"
)

// Readings about where the sound has the seatings, as far off as both state, change nothing but
// by chance, and seldom; those that lie far off as a rule have the sound believed less, at all seatings on the fixture, and say so.
func TestBelieve(t *testing.T) {
	bench := toy.NearEven(300, 1)
	m, err := newModel("Model E", capture.Blocked, bench.Seatings)
	if err != nil {
		t.Fatal(err)
	}
	m.ApartMM = placing.ApartMM
	m.Mark = placing.Mark{At: [placing.ReadDim]float64{30, 30}, Variance: [placing.ReadDim]float64{0.1, 0.1}, One: 1, Readings: 10}
	// read returns the model with readings off mm (SD per axis) from where the sound has the ordinary seatings.
	read := func(rng *rand.Rand, off float64) *Model {
		c := *m
		c.Seatings, c.Placed = slices.Clone(m.Seatings), slices.Clone(m.Placed)
		for i, s := range c.Seatings {
			if at := c.Placed[i].Offset.Headset.Value; s.OrdinaryOnFixture() {
				c.Seatings[i].Read = &capture.Reading{ForwardMM: 30 + at[0] + off*rng.NormFloat64(), UpMM: 30 + at[1] + off*rng.NormFloat64()}
			}
		}
		c.Believe()
		return &c
	}
	rng := rand.New(rand.NewPCG(5, 61))
	changed := 0
	for range 60 {
		if c := read(rng, 1); c.Temper != m.Temper {
			changed++
		}
	}
	if changed > 3 { // at 1 % at most
		t.Errorf("of 60 studies with good readings %d believe the sound less", changed)
	}
	c := read(rng, 6)
	if c.Temper.Headset < 2*m.Temper.Headset || len(c.Notes) != len(m.Notes)+1 {
		t.Fatalf("readings 6 mm off: temper %g, was %g, %q", c.Temper.Headset, m.Temper.Headset, c.Notes)
	}
	m.PlaceRows()
	c.PlaceRows()
	for i, s := range c.Seatings {
		if now, was := c.Placed[i].Offset.Headset.PlaneVariance(), m.Placed[i].Offset.Headset.PlaneVariance(); s.OnFixture() && now <= was {
			t.Errorf("%s: variance %g mm², was %g", s.ID, now, was)
		}
	}
	before := c.Temper
	c.Mark = placing.Mark{}
	if c.Believe(); c.Temper != before {
		t.Error("without a mark the temper changed")
	}
}
