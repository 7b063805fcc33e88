package survey

import (
	"math"
	"slices"
	"testing"

	"asworn/fitcorr/internal/toy"
)

// Levels that are laid out for many displacements at once are those of each by itself; so they are
// where rows and displacements were asked for before, of another survey.
func TestLaidOut(t *testing.T) {
	rows := toy.NewFixture(4, nil, [3]float64{}, 0.5, 0.5, 0.3).Rows
	slip := slices.Repeat([]float64{1}, len(rows))
	full, _, err := FitEar(rows, 1, slip)
	if err != nil {
		t.Fatal(err)
	}
	less, ok := full.Without(rows, 1, slip, []int{0, 3})
	if !ok {
		t.Fatal("too few rows")
	}
	bands := NewBands()
	grid := Grid{At: [][3]float64{{}, {3, -2, 0}, {8, 1, 4}, {-5.5, 0, -2}}}
	shift := Shift{By: [][3]float64{{}, {0.5, -0.25}, {-1, 2}, {0, 0, 3}}}
	for _, e := range []*Ear{&full, &less} {
		s := e.On(bands)
		level, turn := s.Over(&grid)
		for p, at := range grid.At {
			want, slope, _ := s.At(at)
			for r := range bands.N {
				if math.Abs(level.At(r, p)-want[r]) > 1e-6 || math.Abs(turn.At(r, p)-slope[2][r]) > 1e-6 {
					t.Fatalf("%v, band %d: %g and %g, want %g and %g", at, r, level.At(r, p), turn.At(r, p), want[r], slope[2][r])
				}
			}
		}
		for _, about := range [][3]float64{{}, {4, 4, 1}, {0, -8, 0}} {
			level := s.Levels(about, &shift)
			for p, by := range shift.By {
				want, _, _ := s.At([3]float64{about[0] + by[0], about[1] + by[1], about[2] + by[2]})
				for r := range bands.N {
					if math.Abs(level.At(r, p)-want[r]) > 1e-6 {
						t.Fatalf("%v by %v, band %d: %g, want %g", about, by, r, level.At(r, p), want[r])
					}
				}
			}
		}
	}
}
