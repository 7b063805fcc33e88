package curves_test

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"asworn/report/curves"
	"asworn/report/internal/sample"
)

// TestOfFixtures: each difference is there raw and, with references, compensated, with
// its values and limits, and each fixture against people; names are told apart.
func TestOfFixtures(t *testing.T) {
	r := sample.Fixtures()
	of := curves.OfFixtures(r)
	want, seen := 0, map[string]bool{}
	for _, m := range r.Models {
		want += len(m.People)
		for _, d := range m.Differences {
			want++
			if d.CompensatedDB != nil {
				want++
			}
		}
	}
	if len(of) != want || want == 0 {
		t.Errorf("%d curves, want %d", len(of), want)
	}
	for _, c := range of {
		if seen[c.Name] {
			t.Errorf("two curves are called %s", c.Name)
		}
		seen[c.Name] = true
		var b bytes.Buffer
		if err := c.Write(&b); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(b.String(), "\n"); n != len(c.Hz)+3 {
			t.Errorf("%s: %d lines for %d third octaves", c.Name, n, len(c.Hz))
		}
	}
	d := r.Models[0].Differences[0]
	first := of[0]
	k := 0
	for i, hz := range r.ThirdsHz {
		if !d.Valid[i] {
			continue
		}
		if first.Hz[k] != hz || math.Abs(first.DB[k]-d.FinalDB[i]) > 1e-12 || math.Abs(first.Half[k]-d.HalfDB[i]) > 1e-12 {
			t.Fatalf("%s at %g Hz: %g ± %g dB, want %g ± %g", first.Name, hz, first.DB[k], first.Half[k], d.FinalDB[i], d.HalfDB[i])
		}
		k++
	}
}
