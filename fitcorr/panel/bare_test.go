package panel

import (
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/effects"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// A bare ear is held against the fixture's with the loudspeaker in the same place, and
// a place that the fixture lacks is named and not used.
func TestBarePlaces(t *testing.T) {
	row := func(subject, place string, db float64) seat.Seating {
		s := seat.Seating{Subject: subject, Point: capture.Blocked, Loudspeaker: place}
		for e := range s.Ears {
			c := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
			for b := range c.LevelDB {
				c.LevelDB[b], c.Valid[b] = db, true
			}
			s.Ears[e] = c
		}
		return s
	}
	l := &listener{subject: "L01"}
	p := &panel{Layout: effects.Layout{Bands: survey.NewBands(), Models: 1}, listeners: []*listener{l}}
	p.addBare([]seat.Seating{
		row(capture.FixtureSubject, "front", 10), row(capture.FixtureSubject, "side", 20),
		row("L01", "front", 11), row("L01", "back", 50), row("L01", "side", 23),
	}, map[string]*listener{"L01": l})
	if p.Bare != 2 || len(l.bare) != 2 {
		t.Fatalf("%d places and %d references, want 2 and 2", p.Bare, len(l.bare))
	}
	for i, want := range []float64{1, 3} {
		if b := l.bare[i]; b.place != i || b.level[0][5] != want {
			t.Errorf("reference %d: place %d, %g dB above the fixture's, want %d and %g", i, b.place, b.level[0][5], i, want)
		}
	}
	if len(p.notes) != 1 || !strings.Contains(p.notes[0], `"back"`) {
		t.Errorf("notes %q, want one about the place \"back\"", p.notes)
	}
	if at, want := p.Channel(1, 2), p.Block()+3*p.Bands.N; at != want || p.Dim() != p.Block()+4*p.Bands.N {
		t.Errorf("the second place's right ear begins at %d of %d, want %d of %d", at, p.Dim(), want, p.Block()+4*p.Bands.N)
	}
}
