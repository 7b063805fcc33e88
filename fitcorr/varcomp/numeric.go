package varcomp

import "math"

// minimiseScale minimises f over x = 0 and x in [lo, hi], x being a scale
// (a variance or a ratio of variances): a scan by decades, then golden
// section in log x about the best. It returns exactly 0 when the boundary is
// best.
func minimiseScale(f func(x float64) float64, lo, hi float64) float64 {
	const step = math.Ln10
	a, b := math.Log(lo), math.Log(hi)
	f0 := f(0)
	bestU, bestF := a, math.Inf(1)
	for u := a; u <= b+1e-9; u += step {
		if v := f(math.Exp(u)); v < bestF {
			bestU, bestF = u, v
		}
	}
	u, fu := golden(func(u float64) float64 { return f(math.Exp(u)) }, bestU-step, bestU+step)
	// Below lo, or no better than 0 beyond rounding, is 0.
	if u <= a || f0 <= fu+1e-12*math.Abs(f0) {
		return 0
	}
	return math.Exp(u)
}

// golden finds the minimum of a unimodal f on [a, b] by golden-section search
// with parabolic steps (Brent, Algorithms for Minimization without
// Derivatives, 1973, chapter 5).
func golden(f func(float64) float64, a, b float64) (x, fx float64) {
	const c = 0.3819660112501051 // (3−√5)/2
	const tol = 1e-9
	x = a + c*(b-a)
	w, v := x, x
	fx = f(x)
	fw, fv := fx, fx
	var d, e float64
	for range 200 {
		mid := 0.5 * (a + b)
		t := tol * (1 + math.Abs(x))
		if math.Abs(x-mid) <= 2*t-0.5*(b-a) {
			break
		}
		parabola := false
		if math.Abs(e) > t {
			r := (x - w) * (fx - fv)
			q := (x - v) * (fx - fw)
			p := (x-v)*q - (x-w)*r
			q = 2 * (q - r)
			if q > 0 {
				p = -p
			}
			q = math.Abs(q)
			if math.Abs(p) < math.Abs(0.5*q*e) && p > q*(a-x) && p < q*(b-x) {
				e, d = d, p/q
				parabola = true
			}
		}
		if !parabola {
			if x < mid {
				e = b - x
			} else {
				e = a - x
			}
			d = c * e
		}
		if math.Abs(d) < t {
			d = math.Copysign(t, d)
		}
		u := x + d
		fu := f(u)
		if fu <= fx {
			if u < x {
				b = x
			} else {
				a = x
			}
			v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
			continue
		}
		if u < x {
			a = u
		} else {
			b = u
		}
		if fu <= fw || w == x {
			v, fv, w, fw = w, fw, u, fu
		} else if fu <= fv || v == x || v == w {
			v, fv = u, fu
		}
	}
	return x, fx
}

// root finds a sign change of f between a and b by the Illinois variant of
// regula falsi (Dowell & Jarratt, BIT 11, 1971).
func root(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	if fa == 0 {
		return a
	}
	if fb == 0 {
		return b
	}
	side := 0
	for range 200 {
		x := (a*fb - b*fa) / (fb - fa)
		if math.Abs(b-a) <= 1e-10*(1+math.Abs(x)) {
			return x
		}
		fx := f(x)
		switch {
		case fx == 0:
			return x
		case (fx > 0) == (fb > 0):
			b, fb = x, fx
			if side == -1 {
				fa /= 2
			}
			side = -1
		default:
			a, fa = x, fx
			if side == 1 {
				fb /= 2
			}
			side = 1
		}
		if math.Abs(fx) < 1e-9 {
			return x
		}
	}
	return (a + b) / 2
}
