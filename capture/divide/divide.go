// Package divide turns the spectra of the repeats into responses, by regularised
// division by the reference, and weighs the repeats against each other.
package divide

import (
	"asworn/capture/clock"
	"asworn/capture/deconv"
	"asworn/capture/excitation"
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
		p.Share(2*len(t.Cut), func(_ *take.Desk, i int) { divideBy(t, inverse, i/2, i%2, 0) })
		return
	}
	last := len(t.Cut) - 1
	if p.Smooth == nil {
		byBins(t, inverse)
	} else {
		for k := range t.Cut { // they add to the same sum
			p.Invert(inverse, t.Spectrum(k, take.Loopback))
			addPower(t, inverse, t.Spectrum(k, take.Loopback), len(t.Cut))
			divideBy(t, inverse, k, take.Left, 0)
			divideBy(t, inverse, k, take.Right, 0)
		}
	}
	passed(t, t.Spectrum(last, take.Loopback))
}

// byBins divides by the loopback, block by block of all repeats and ears, so that what they
// share stays in the processor's fast memory. What the last repeat is multiplied by, which
// is needed later, goes to inverse.
func byBins(t *take.Take, inverse []complex128) {
	const block = 1024
	p := t.Bench
	var edges []excitation.Edges
	for k := range t.Cut {
		edges = append(edges, p.EdgesOf(t.Spectrum(k, take.Loopback)))
	}
	p.Share((p.Bins()+block-1)/block, func(d *take.Desk, i int) {
		from, to := i*block, min((i+1)*block, p.Bins())
		for k := range t.Cut {
			some := inverse[from:to]
			if k+1 < len(t.Cut) {
				some = d.Mean[:to-from]
			}
			p.InvertSome(some, t.Spectrum(k, take.Loopback)[from:to], from, edges[k])
			divideBy(t, some, k, take.Left, from)
			divideBy(t, some, k, take.Right, from)
		}
	})
}

// divideBy turns the spectrum of one repeat of an ear into its response, from a bin on.
func divideBy(t *take.Take, inverse []complex128, k, ear, from int) {
	if t.X[ear] == nil {
		return
	}
	h := t.Spectrum(k, ear)[from : from+len(inverse)]
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
	c = c[from : from+len(h)]
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
