package bench

import (
	"math"
	"strings"
	"testing"

	"asworn/cmd/internal/hearing"
)

// Why the end of a take is missing: the sound is late, which the next take waits for; or it
// stood still on its way, which no waiting mends; or nobody can tell.
func TestLate(t *testing.T) {
	const rate = 8000
	one := make([]float64, rate) // a second, of rising pitch
	for i := range one {
		s := float64(i) / rate
		one[i] = math.Sin(2 * math.Pi * (100 + 900*s) * s)
	}
	for _, c := range []struct {
		name    string
		seconds float64 // of the first sweep's arrival; below 0 it does not
		want    string
		waits   float64
	}{
		{"late", 0.9, "sound arrives 0.90 s after it is played, and this take waited 0.40 s: the next one waits for it", 0.9 + arrivalMargin},
		{"stood still", 0.1, "arrived in time and the last did not: the sound stood still", usualArrival},
		{"silent", -1, "make the level check (l), which listens for 2 s", usualArrival},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := &arrival{one: one, lead: rate / 2, gap: rate, rateHz: rate}
			x := make([]float64, 4*rate)
			if c.seconds >= 0 {
				copy(x[a.lead+int(c.seconds*rate):], one)
			}
			if got := a.late([][]float64{x, x}, hearing.Inputs{Left: 1, Right: 2}); !strings.Contains(got, c.want) {
				t.Errorf("%q is said, want %q", got, c.want)
			}
			if got := a.wait(usualArrival); math.Abs(got-c.waits) > 1e-9 {
				t.Errorf("the next take waits %g s, want %g", got, c.waits)
			}
		})
	}
}
