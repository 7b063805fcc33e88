package capture

import (
	"math"
	"math/cmplx"
)

// divide turns the spectra of the ears into responses, repeat by repeat.
func (t *take) divide() {
	p := t.p
	if p.buf.inverse == nil {
		p.buf.inverse = make([]complex128, p.bins())
	}
	inverse := p.buf.inverse
	if p.smooth != nil && p.buf.power2 == nil {
		p.buf.power2 = make([]float64, p.bins())
	}
	clear(p.buf.power2)
	if t.x[loopback] == nil {
		t.played = t.reference()
		p.invert(inverse, t.played)
		t.passed(t.played)
		t.addPower(inverse, t.played, 1)
		p.share(2*len(t.cut), func(_ *desk, i int) { t.divideBy(inverse, i/2, i%2) })
		return
	}
	last := len(t.cut) - 1
	repeat := func(d *desk, k int) {
		inverse := inverse
		if k != last { // that of the last is needed later
			inverse = d.mean
		}
		p.invert(inverse, t.spectrum(k, loopback))
		t.addPower(inverse, t.spectrum(k, loopback), len(t.cut))
		t.divideBy(inverse, k, left)
		t.divideBy(inverse, k, right)
	}
	if p.smooth == nil {
		p.share(len(t.cut), repeat)
	} else {
		for k := range t.cut { // they add to the same sum
			repeat(p.own, k)
		}
	}
	t.passed(t.spectrum(last, loopback))
}

// divideBy turns the spectrum of one repeat of an ear into its response.
func (t *take) divideBy(inverse []complex128, k, ear int) {
	if t.x[ear] == nil {
		return
	}
	h := t.spectrum(k, ear)
	if t.x[loopback] == nil && t.shift[k] != 0 {
		advance(h, t.shift[k], t.p.n)
	}
	for i, g := range inverse {
		h[i] *= g
	}
	if c := t.p.correct[ear]; c != nil {
		for i := range h {
			h[i] *= c[i]
		}
	}
}

// passed works out what share of the response the division leaves about the
// lower end of the band.
func (t *take) passed(reference []complex128) {
	b, p := &t.p.buf, t.p
	b.reach = b.reach[:0]
	for i := range min(len(b.inverse), int(p.lowHz/p.rate*float64(p.n))+2) {
		b.reach = append(b.reach, real(b.inverse[i]*reference[i]))
	}
}

// addPower adds up what solve needs to know of the references.
func (t *take) addPower(inverse, reference []complex128, repeats int) {
	for i := range t.p.buf.power2 {
		g := inverse[i] * reference[i]
		if repeats > 1 {
			g /= complex(float64(repeats), 0)
		}
		t.p.buf.power2[i] += real(g)
	}
}

// invert writes the regularised inverse of the reference spectrum,
// conj(R)/(|R|² + ε). ε is 0 where the excitation has content and grows
// outside so that the quotient falls off as the pass band does, whatever noise
// the reference has there.
func (p *Processor) invert(dst, reference []complex128) {
	if p.smooth != nil {
		for k, s := range smoothPower(reference, p.smoothWidth()) {
			dst[k] = 0
			if g := p.pass[k]; g > 0 && s > 0 {
				dst[k] = complex(real(reference[k])*g/s, -imag(reference[k])*g/s)
			}
		}
		return
	}
	step := p.rate / float64(p.n)
	around := func(f float64) float64 {
		a := max(1, int(f/1.03/step))
		b := min(len(reference), int(f*1.03/step)+2)
		return energy(reference[a:b]) / float64(b-a)
	}
	low, high := around(p.lowHz*1.1), around(p.highHz/1.1)
	for k, r := range reference {
		g := p.pass[k]
		if g == 0 {
			dst[k] = 0
			continue
		}
		e := real(r)*real(r) + imag(r)*imag(r)
		if g < 1 {
			edge := low
			if float64(k)*step > p.highHz {
				edge = high
			}
			e += edge * (1/g - 1)
		}
		if e == 0 {
			dst[k] = 0
			continue
		}
		dst[k] = complex(real(r)/e, -imag(r)/e)
	}
}

// advance moves a signal of n samples earlier by shift samples.
func advance(s []complex128, shift float64, n int) {
	// The rotation is advanced by multiplication and set anew every 256 bins,
	// which keeps its error below 1e-13.
	phase := 2 * math.Pi * shift / float64(n)
	step := cmplx.Rect(1, phase)
	var r complex128
	for k := range s {
		if k%256 == 0 {
			r = cmplx.Rect(1, phase*float64(k))
		}
		s[k] *= r
		r *= step
	}
}
