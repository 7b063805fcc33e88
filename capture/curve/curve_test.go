package curve

import (
	"math"
	"testing"

	"asworn/capture/internal/problemtest"
)

func TestCurve(t *testing.T) {
	c, problems := parseCSV("c", []byte("# a comment\nfrequency_hz,level_db,phase_deg\n100,0,170\n1000,6,-170\n"))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	for f, want := range map[float64]float64{10: 0, 100: 0, math.Sqrt(1e5): 3, 1000: 6, 5000: 6} {
		if got := c.LevelDB(f); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g Hz: %g dB, want %g", f, got, want)
		}
	}
	if c.PhaseDeg[1] != 190 {
		t.Errorf("the phase jumps: %v", c.PhaseDeg)
	}
}

// FuzzCSV feeds any text as a curve: what is accepted passes the check
// of those who use it.
func FuzzCSV(f *testing.F) {
	f.Add([]byte("frequency_hz,level_db\n20,-0.5\n1000,0\n20000,2\n"))
	f.Add([]byte("# fixture: fixture 1\nfrequency_hz;level_db;phase_deg\n20;-0,5;0\n1000;0;370\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, problems := parseCSV("f", text)
		_, again := parseCSV("f", text)
		problemtest.Check(t, text, problems, again)
		fixtureOf(text)
		if len(problems) > 0 {
			return
		}
		if err := c.Check(); err != nil {
			t.Fatal(err)
		}
		for _, hz := range []float64{1e-9, 1, 1000, 1e9} {
			if v := c.LevelDB(hz); v-v != 0 {
				t.Fatalf("%g dB at %g Hz", v, hz)
			}
		}
	})
}
