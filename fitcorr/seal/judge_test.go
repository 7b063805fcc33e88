package seal

import (
	"math"
	"math/cmplx"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/leak"
	"asworn/fitcorr/seat"
)

func TestLeaksClosedAndOpen(t *testing.T) {
	slit := func(mm float64) leak.Params {
		s := toy.Slit{Height: mm * 1e-3, Width: 0.02, Length: 0.015}
		hz, damping := toy.Corner(s.Resistance(), s.Mass(), toy.Compliance(1e-4))
		return leak.Params{CornerHz: hz, Damping: damping}
	}
	none := func(int, float64) float64 { return 0 }
	flat := func(float64) float64 { return 0 }
	dipole := func(f float64) float64 { return -toy.LossDB(slit(0.9).Response(f)) }
	// An open back is a wide vent beside whatever the pad leaks: the vent rules.
	vented := func(mm, f float64) float64 {
		w := 2 * math.Pi * f
		c := toy.Compliance(1e-4)
		vent := 1 / complex(1.5e6, w*1600)
		if mm > 0 {
			s := toy.Slit{Height: mm * 1e-3, Width: 0.02, Length: 0.015}
			vent += 1 / complex(s.Resistance(), w*s.Mass())
		}
		return 20 * math.Log10(cmplx.Abs(1+vent/complex(0, w*c)))
	}
	cases := []struct {
		name       string
		loss       func(int, float64) float64
		fall       func(float64) float64
		purpose    bool // the last row is a leak made on purpose
		open, told bool
	}{
		{"leaks on a closed cup", func(i int, f float64) float64 {
			if i%2 == 0 {
				return 0
			}
			return toy.LossDB(slit(0.2 + 0.05*float64(i)).Response(f))
		}, flat, false, false, true},
		{"sealed every time", none, flat, false, false, true},
		{"open, no survey", none, dipole, false, true, true},
		{"open, pads that seal unequally", func(i int, f float64) float64 {
			return vented(0.1+0.015*float64(i), f) - vented(0, f)
		}, func(f float64) float64 { return -vented(0, f) }, false, true, true},
		{"open, leak on purpose without effect", none, func(f float64) float64 { return -4 * math.Exp(-f/60) }, true, true, true},
		{"leaks on a closed cup, the one made on purpose small", func(i int, f float64) float64 {
			switch {
			case i == 11:
				return toy.LossDB(slit(0.25).Response(f))
			case i < 2:
				return toy.LossDB(slit(0.5).Response(f))
			}
			return 0
		}, flat, true, false, true},
		{"neither flat nor steep", none, func(f float64) float64 { return -6 * math.Exp(-f/60) }, false, false, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			ss := toy.LowEnd(11, 12, c.loss, c.fall)
			if c.purpose {
				ss[11].Survey, ss[11].Seal = &capture.Displacement{}, "shim 1 mm"
			}
			leaks, seal := Judge(ss, seat.DefaultOptions())
			t.Log(seal.Reason)
			if seal.Open != c.open || seal.Told != c.told {
				t.Errorf("open %v told %v, want %v %v", seal.Open, seal.Told, c.open, c.told)
			}
			for i, s := range ss {
				want := c.loss(i, 50)
				for ear, l := range leaks[s.ID] {
					if c.open {
						if l.Class != "open" {
							t.Errorf("seating %d: class %q", i, l.Class)
						}
						continue // no seal, no loss to one
					}
					if math.Abs(l.LossDB[1]-want) > 0.3+3*l.LossSE[1] {
						t.Errorf("seating %d ear %d: loss at 50 Hz %.2f ± %.2f dB, want %.2f", i, ear, l.LossDB[1], l.LossSE[1], want)
					}
				}
			}
		})
	}
}
