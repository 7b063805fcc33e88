package survey

import (
	"math"
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/seat"
)

// Leaving displacements out in closed form is the same as making the surface
// without them.
func TestLeaveOutIsRefit(t *testing.T) {
	rows := toy.NewFixture(4, nil, [3]float64{}, 0.5, 0.5, 0.3).Rows
	slip := slices.Repeat([]float64{1}, len(rows))
	const ear = 1
	e, _, err := FitEar(rows, ear, slip)
	if err != nil {
		t.Fatal(err)
	}
	y, _ := centred(rows, ear, e.Valid)
	for _, z := range e.Zones {
		inv, ok := kernelInverse(z.Kernel, e.At, slip)
		if !ok {
			t.Fatal("singular")
		}
		got := newHolder(e.At, y, slip).leaveOut(inv)
		if got.rows != float64(len(rows)) {
			t.Fatalf("%g of %d rows left out", got.rows, len(rows))
		}
		want := make([]float64, band.Count)
		change := make([]float64, band.Count)
		for _, group := range SameDisplacement(e.At) {
			less, ok := e.Without(rows, ear, slip, group)
			if !ok {
				t.Fatal("too few rows")
			}
			less.Change(change, e.At[group[0]], less.AtMark())
			for _, i := range group {
				for b := z.From; b < z.To; b++ {
					v := rows[i].Ears[ear].LevelDB[b] - less.BaseDB[b] - change[b]
					want[b] += v * v
				}
			}
		}
		for b := z.From; b < z.To; b++ {
			if math.Abs(got.square[b]-want[b]) > 1e-3*want[b] {
				t.Fatalf("band %d: sum of squares %.6f, by refit %.6f dB²", b, got.square[b], want[b])
			}
		}
	}
}

// Each response model is chosen where the response is of its kind, though a
// free surface that hardly bends may stand for one of first order.
func TestResponseModelIsChosen(t *testing.T) {
	at := [][3]float64{{}, {}, {8, 0, 0}, {-8, 0, 0}, {0, 8, 0}, {0, -8, 0}, {4, 0, 0}, {-4, 0, 0}, {0, 4, 0}, {0, -4, 0}, {5, 5, 0}, {-5, -5, 0}, {5, -5, 0}, {-5, 5, 0}, {2, -2, 0}}
	for _, c := range []struct {
		method    string
		heldOutDB float64 // at most
		level     func(d [3]float64, b float64) float64
	}{
		{"first order", 0.15, func(d [3]float64, b float64) float64 { return 0.3*d[0]*math.Sin(b) - 0.2*d[1]*math.Cos(b) }},
		{"second order", 0.2, func(d [3]float64, b float64) float64 {
			return 0.05 * (d[0]*math.Sin(b) + d[1]*math.Cos(b)) * (d[0] + 0.5*d[1])
		}},
		{"Gaussian process", 3, func(d [3]float64, b float64) float64 { return 5 * math.Sin(0.4*d[0]+b) * math.Cos(0.3*d[1]) }},
	} {
		var rows []seat.Seating
		for i, d := range at {
			s := seat.Seating{Model: "M", Subject: capture.FixtureSubject, Point: capture.Blocked, Survey: &capture.Displacement{ForwardMM: d[0], UpMM: d[1]}}
			cv := seat.Curve{LevelDB: make([]float64, band.Count), StdErrDB: make([]float64, band.Count), Valid: slices.Repeat([]bool{true}, band.Count)}
			for b := range cv.LevelDB {
				noise := math.Mod(math.Abs(math.Sin(float64(i*band.Count+b))*43758.5453), 1) - 0.5 // uniform enough
				cv.LevelDB[b], cv.StdErrDB[b] = c.level(d, float64(b)/9)+0.3*noise, 0.02
			}
			s.Ears[0] = cv
			rows = append(rows, s)
		}
		_, rep, err := FitEar(rows, 0, slices.Repeat([]float64{1}, len(rows)))
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %s, %.2f dB", c.method, rep.Method, rep.HeldOutDB)
		if !strings.Contains(rep.Method, c.method) || rep.HeldOutDB > c.heldOutDB {
			t.Errorf("a response of %s: %s, held out %.2f dB", c.method, rep.Method, rep.HeldOutDB)
		}
	}
}
