package leak

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"asworn/fitcorr/internal/toy"

	"pgregory.net/rapid"
)

// Limits of the closed form, each derived by hand.
func TestLimits(t *testing.T) {
	const c, f = 7.75e-10, 50.0
	w := 2 * math.Pi * f
	slopeDB := func(p Params, f float64) float64 { // per octave
		return p.LossDB(f/2) - p.LossDB(f)
	}
	t.Run("endless resistance seals", func(t *testing.T) {
		if l := fromCircuit(1e14, 5000, c).LossDB(20); math.Abs(l) > 1e-4 {
			t.Errorf("loss %g dB", l)
		}
	})
	t.Run("without mass it is a first-order high-pass", func(t *testing.T) {
		const r = 5e6
		got := fromCircuit(r, 1e-9, c).Response(f)
		want := complex(0, w*r*c) / (1 + complex(0, w*r*c))
		if cmplx.Abs(got-want) > 1e-6 {
			t.Errorf("%v, want %v", got, want)
		}
	})
	t.Run("low end of a damped leak falls by 6 dB per octave", func(t *testing.T) {
		if s := slopeDB(Params{80, 3}, 0.5); math.Abs(s-20*math.Log10(2)) > 0.01 {
			t.Errorf("%.3f dB per octave", s)
		}
	})
	t.Run("without resistance by 12 dB per octave", func(t *testing.T) {
		if s := slopeDB(Params{80, 1e-6}, 1); math.Abs(s-40*math.Log10(2)) > 0.01 {
			t.Errorf("%.3f dB per octave", s)
		}
	})
	t.Run("at the corner |H| is √(1 + Q²)", func(t *testing.T) {
		p := Params{80, 0.5}
		if got, want := cmplx.Abs(p.Response(80)), math.Sqrt(1+4); math.Abs(got-want) > 1e-12 {
			t.Errorf("%g, want %g", got, want)
		}
	})
	t.Run("a resistance in series with the cup and an inertance before the ear", func(t *testing.T) {
		const r, m, cupR, nearM = 6e5, 2400, 4e4, 40
		for _, f := range []float64{20, 100, 400} {
			w := 2 * math.Pi * f
			cup, slit, near := complex(cupR, -1/(w*c)), complex(r, w*m), complex(0, w*nearM)
			want := -20 * math.Log10(cmplx.Abs((cup*slit/(cup+slit)+near)/(cup+near)))
			const at = 2 * math.Pi * 100
			s := Source{Loss: at * c * cupR, Near: at * at * c * nearM}
			if got := s.LossDB(fromCircuit(r, m, c), f); math.Abs(got-want) > 1e-9 {
				t.Errorf("%g Hz: %g dB, want %g dB", f, got, want)
			}
		}
	})
	t.Run("a small loss looks like a higher corner", func(t *testing.T) {
		// Far above the corner ln|H| is −(1 − δη/x)/(x² + δ²) with η at f:
		// what the loss takes off looks like a higher corner.
		p, s := Params{180, 3}, Source{Loss: 0.03}
		const f = 400.0
		x, eta := f/p.CornerHz, s.Loss*f/100
		ratio := s.LossDB(p, f) / p.LossDB(f)
		if want := 1 - p.Damping*eta/x; math.Abs(ratio-want) > 0.05 {
			t.Errorf("loss falls to %.3f, want about %.3f", ratio, want)
		}
	})
	t.Run("high end untouched", func(t *testing.T) {
		if l := (Params{80, 1}).LossDB(8000); math.Abs(l) > 0.01 {
			t.Errorf("loss %g dB", l)
		}
	})
	t.Run("a stiff cone is the plain circuit", func(t *testing.T) {
		s := Source{ResonanceHz: 90, Damping: 1, CupPart: 1 - 1e-9}
		p := Params{80, 1}
		if a, b := s.LossDB(p, 50), p.LossDB(50); math.Abs(a-b) > 1e-6 {
			t.Errorf("%g and %g dB", a, b)
		}
	})
}

// The handbook's slit elements are the low-frequency limit of oscillating flow
// between parallel walls, solved exactly from the Navier–Stokes equation:
// Z = jωρl/(hw) / (1 − tanh(x)/x), x = (h/2)√(jωρ/η).
func TestSlitIsTheLimitOfOscillatingFlow(t *testing.T) {
	for _, height := range []float64{0.1e-3, 0.3e-3, 0.6e-3} {
		s := toy.Slit{Height: height, Width: 20e-3, Length: 15e-3}
		for _, f := range []float64{5, 20, 50} {
			w := 2 * math.Pi * f
			x := complex(height/2, 0) * cmplx.Sqrt(complex(0, w*airDensity/airViscosity))
			exact := complex(0, w*airDensity*s.Length/(height*s.Width)) / (1 - cmplx.Tanh(x)/x)
			lumped := complex(s.Resistance(), w*s.Mass())
			// The next term of the series is of the order |x|⁴/175 of R.
			limit := math.Pow(cmplx.Abs(x), 4)/100*s.Resistance() + 1e-9*s.Resistance()
			if d := cmplx.Abs(exact - lumped); d > limit {
				t.Errorf("height %g mm at %g Hz: %v, exact %v", 1000*height, f, lumped, exact)
			}
		}
	}
}

// Derivatives against differences, and the 3 dB frequency against its meaning.
func TestLevelProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Params{rapid.Float64Range(2, 500).Draw(t, "corner"), rapid.Float64Range(0.2, 20).Draw(t, "damping")}
		s := Source{
			Loss: rapid.Float64Range(0, 0.05).Draw(t, "loss"), Bend: rapid.Float64Range(-0.002, 0.002).Draw(t, "bend"),
			Near: rapid.Float64Range(-0.005, 0.005).Draw(t, "near"), NearLoss: rapid.Float64Range(0, 0.001).Draw(t, "near loss"),
		}
		if rapid.Bool().Draw(t, "cone") {
			s.ResonanceHz, s.Damping, s.CupPart = rapid.Float64Range(40, 200).Draw(t, "resonance"), rapid.Float64Range(0.3, 3).Draw(t, "q"), rapid.Float64Range(0.02, 0.9).Draw(t, "share")
		}
		f := rapid.Float64Range(15, 800).Draw(t, "f")
		const h = 1e-5
		at := s.level(p, f)
		near := func(what string, got, plus, minus float64) {
			if want := (plus - minus) / (2 * h); math.Abs(got-want) > 1e-4*(1+math.Abs(want)) {
				t.Fatalf("%s: %g, difference %g", what, got, want)
			}
		}
		e := math.Exp(h)
		near("corner", at.own[0], s.level(Params{p.CornerHz * e, p.Damping}, f).level, s.level(Params{p.CornerHz / e, p.Damping}, f).level)
		near("damping", at.own[1], s.level(Params{p.CornerHz, p.Damping * e}, f).level, s.level(Params{p.CornerHz, p.Damping / e}, f).level)
		for k := range s.unknowns() {
			v := s.vector()
			v[k] += h
			plus := sourceFrom(v).level(p, f).level
			v[k] -= 2 * h
			near(fmt.Sprint("source ", k), at.bySource[k], plus, sourceFrom(v).level(p, f).level)
		}
		if a, b := -s.LossDB(p, f), at.level; math.Abs(a-b) > 1e-9*(1+math.Abs(b)) {
			t.Fatalf("level %g dB, with derivatives %g dB", a, b)
		}
		if l := p.LossDB(p.ThreeDBHz()); math.Abs(l-10*math.Log10(2)) > 1e-9 {
			t.Fatalf("loss at the 3 dB frequency is %g dB", l)
		}
	})
}

// LossDB returns the level that the leak takes at f Hz, in dB; negative where
// an underdamped leak resonates and adds.
func (p Params) LossDB(f float64) float64 { return toy.LossDB(p.Response(f)) }

// A gap of half a millimetre under a pad costs the low bass.
func Example_slit() {
	slit := toy.Slit{Height: 0.5e-3, Width: 20e-3, Length: 15e-3}
	p := fromCircuit(slit.Resistance(), slit.Mass(), toy.Compliance(110e-6))
	fmt.Printf("corner %.0f Hz, 1/Q %.2f\n", p.CornerHz, p.Damping)
	fmt.Printf("lost at 20 Hz: %.1f dB, at 50 Hz: %.1f dB\n", p.LossDB(20), p.LossDB(50))
	// Output:
	// corner 123 Hz, 1/Q 0.78
	// lost at 20 Hz: 17.5 dB, at 50 Hz: 7.9 dB
}
