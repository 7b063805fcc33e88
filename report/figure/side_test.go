package figure

import (
	"math"
	"regexp"
	"strconv"
	"testing"
)

// TestSideNames: the names of the two cups stand apart, also where the cups sit in
// one place or one before the other.
func TestSideNames(t *testing.T) {
	name := regexp.MustCompile(`<text x="([-0-9.]+)" y="([-0-9.]+)" text-anchor="middle" dy=".35em">([LR])</text>`)
	for _, cups := range [][2][2]float64{
		{{0, 0}, {0, 0}}, {{1.8, -0.1}, {1.9, -0.2}}, {{2, 0}, {2, 0}}, {{-3, 4}, {-4, 3}}, {{6, 0}, {-6, 0}}, {{0, 2}, {0, 2.5}}, {{0.1, 0}, {-0.1, 0}},
	} {
		s := Side{ToleranceMM: 3, LimitMM: 8}
		for i := range cups {
			s.Cups[i] = SideCup{Offset: cups[i], Seen: true}
		}
		found := name.FindAllStringSubmatch(string(s.SVG()), -1)
		if len(found) != 2 || found[0][3] != "L" || found[1][3] != "R" {
			t.Fatalf("%v: names %q", cups, found)
		}
		if d := namesApart(t, found); d < 12 {
			t.Errorf("%v: the names are %.1f apart", cups, d)
		}
	}
}

func namesApart(t *testing.T, found [][]string) float64 {
	t.Helper()
	var at [2][2]float64
	for i := range at {
		for k := range at[i] {
			v, err := strconv.ParseFloat(found[i][k+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			at[i][k] = v
		}
	}
	return math.Hypot(at[0][0]-at[1][0], at[0][1]-at[1][1])
}
