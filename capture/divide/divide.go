// Package divide turns the spectra of the repeats into responses, by regularised
// division by the reference, and weighs the repeats against each other.
package divide

import (
	"asworn/capture/clock"
	"asworn/capture/deconv"
	"asworn/capture/take"
)

// Repeats turns the spectra of the ears into responses, repeat by repeat.
func Repeats(t *take.Take) {
	p := t.Bench
	if p.Buf.Inverse == nil {
		p.Buf.Inverse = make([]complex128, p.Bins())
	}
	inverse := p.Buf.Inverse
	if p.Smooth != nil && p.Buf.Power2 == nil {
		p.Buf.Power2 = make([]float64, p.Bins())
	}
	clear(p.Buf.Power2)
	if t.X[take.Loopback] == nil {
		t.Played = clock.Reference(t)
		p.Invert(inverse, t.Played)
		passed(t, t.Played)
		addPower(t, inverse, t.Played, 1)
		p.Share(2*len(t.Cut), func(_ *take.Desk, i int) { divideBy(t, inverse, i/2, i%2) })
		return
	}
	last := len(t.Cut) - 1
	repeat := func(d *take.Desk, k int) {
		inverse := inverse
		if k != last { // that of the last is needed later
			inverse = d.Mean
		}
		p.Invert(inverse, t.Spectrum(k, take.Loopback))
		addPower(t, inverse, t.Spectrum(k, take.Loopback), len(t.Cut))
		divideBy(t, inverse, k, take.Left)
		divideBy(t, inverse, k, take.Right)
	}
	if p.Smooth == nil {
		p.Share(len(t.Cut), repeat)
	} else {
		for k := range t.Cut { // they add to the same sum
			repeat(p.Own, k)
		}
	}
	passed(t, t.Spectrum(last, take.Loopback))
}

// divideBy turns the spectrum of one repeat of an ear into its response.
func divideBy(t *take.Take, inverse []complex128, k, ear int) {
	if t.X[ear] == nil {
		return
	}
	h := t.Spectrum(k, ear)
	if t.X[take.Loopback] == nil && t.Shift[k] != 0 {
		deconv.Advance(h, t.Shift[k], t.Bench.N)
	}
	c := t.Bench.Correct[ear]
	if c == nil {
		for i, g := range inverse {
			h[i] *= g
		}
		return
	}
	c = c[:len(h)]
	for i, g := range inverse[:len(h)] {
		h[i] = h[i] * g * c[i]
	}
}

// passed works out what share of the response the division leaves about the
// lower end of the band.
func passed(t *take.Take, reference []complex128) {
	b, p := &t.Bench.Buf, t.Bench
	b.Reach = b.Reach[:0]
	for i := range min(len(b.Inverse), int(p.LowHz/p.RateHz*float64(p.N))+2) {
		b.Reach = append(b.Reach, real(b.Inverse[i]*reference[i]))
	}
}

// addPower adds up what solve needs to know of the references.
func addPower(t *take.Take, inverse, reference []complex128, repeats int) {
	for i := range t.Bench.Buf.Power2 {
		g := inverse[i] * reference[i]
		if repeats > 1 {
			g /= complex(float64(repeats), 0)
		}
		t.Bench.Buf.Power2[i] += real(g)
	}
}
