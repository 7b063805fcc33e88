package excitation

import (
	"gonum.org/v1/gonum/mat"

	"asworn/capture/deconv"
)

// FillBelow carries a spectrum on below the excitation's band. Cut off there, the impulse
// response would ring for a few periods of the lowest frequency to both sides, beyond any
// window of sensible length, and the levels a little above would be wrong. What is put in
// instead is what a response whose impulse response is short against a period of the
// lowest frequency does there: the real part is an even and the imaginary part an odd
// polynomial of frequency, fitted to the lowest part of the band. No kept level lies in
// what was filled; it only keeps the window from doing harm. reach is what share of the
// response the division left in each bin. h has Bins bins and is changed below LowHz
// only; reach, 0 to 1, has as many entries as bins were regularised. Where there are too
// few bins to fit, nothing happens.
func (p *Plan) FillBelow(h []complex128, reach []float64) {
	step := p.RateHz / float64(p.N)
	first := int(p.LowHz/step) + 1
	last := min(int(fillSpan*p.LowHz/step), len(h)-1)
	if last-first < 12 || first > len(reach) {
		return // the excitation reaches down to nothing anyway
	}
	rows := last - first
	even, odd := mat.NewDense(rows, fillTerms, nil), mat.NewDense(rows, fillTerms, nil)
	re, im := mat.NewVecDense(rows, nil), mat.NewVecDense(rows, nil)
	for i := range rows {
		x := float64(first+i) / float64(last)
		even.SetRow(i, powers(1, x*x))
		odd.SetRow(i, powers(x, x*x))
		re.SetVec(i, real(h[first+i]))
		im.SetVec(i, imag(h[first+i]))
	}
	var a, b mat.VecDense
	if a.SolveVec(even, re) != nil || b.SolveVec(odd, im) != nil {
		return
	}
	for k := range first {
		x := float64(k) / float64(last)
		u, v := powers(1, x*x), powers(x, x*x)
		var r, i float64
		for j := range fillTerms {
			r += a.AtVec(j) * u[j]
			i += b.AtVec(j) * v[j]
		}
		h[k] += complex(r*(1-reach[k]), i*(1-reach[k]))
	}
}

// The fit covers fillSpan times the lowest frequency with fillTerms terms.
const (
	fillSpan  = 2.5
	fillTerms = 3
)

// powers returns first, first·ratio, first·ratio² …
func powers(first, ratio float64) []float64 {
	out := make([]float64, fillTerms)
	for i := range out {
		out[i] = first
		first *= ratio
	}
	return out
}

// Invert writes the regularised inverse of the reference spectrum,
// conj(R)/(|R|² + ε). ε is 0 where the excitation has content and grows
// outside so that the quotient falls off as the pass band does, whatever noise
// the reference has there.
func (p *Plan) Invert(dst, reference []complex128) {
	if p.Smooth != nil {
		for k, s := range smoothPower(reference, p.smoothWidth()) {
			dst[k] = 0
			if g := p.pass[k]; g > 0 && s > 0 {
				dst[k] = complex(real(reference[k])*g/s, -imag(reference[k])*g/s)
			}
		}
		return
	}
	p.InvertSome(dst, reference, 0, p.EdgesOf(reference))
}

// Edges is the power of a reference within its band about the ends of it.
type Edges struct{ low, high float64 }

// EdgesOf returns the edges of a reference. It has Bins bins.
func (p *Plan) EdgesOf(reference []complex128) Edges {
	step := p.RateHz / float64(p.N)
	around := func(f float64) float64 {
		a := max(1, int(f/1.03/step))
		b := min(len(reference), int(f*1.03/step)+2)
		return deconv.Energy(reference[a:b]) / float64(b-a)
	}
	return Edges{around(p.LowHz * 1.1), around(p.HighHz / 1.1)}
}

// InvertSome is Invert, where the response is the plain quotient, for some bins from a first
// one on, as many as dst and reference have.
func (p *Plan) InvertSome(dst, reference []complex128, first int, edges Edges) {
	step := p.RateHz / float64(p.N)
	pass, dst := p.pass[first:first+len(reference)], dst[:len(reference)]
	for k, r := range reference {
		g := pass[k]
		if g == 0 {
			dst[k] = 0
			continue
		}
		e := real(r)*real(r) + imag(r)*imag(r)
		if g < 1 {
			edge := edges.low
			if float64(first+k)*step > p.HighHz {
				edge = edges.high
			}
			e += edge * (1/g - 1)
		}
		if e == 0 {
			dst[k] = 0
			continue
		}
		e = 1 / e
		dst[k] = complex(real(r)*e, -imag(r)*e)
	}
}
