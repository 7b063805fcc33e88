package levels

import (
	"asworn/capture/deconv"
	"asworn/capture/study"
	"asworn/capture/take"
)

// averageBlock is how many bins of all repeats are worked on at a time, few enough to stay
// in the processor's fastest memory.
const averageBlock = 256

// average writes the weighted mean of the repeats of an ear to b.Mean and returns what
// their scatter about it says of their noise, where there are two at least.
func average(t *take.Take, b *take.Desk, e study.Ear) (noise noiseSpectrum, ok bool) {
	p := t.Bench
	var kept []int
	for k, w := range t.Keep {
		if w > 0 {
			kept = append(kept, k)
		}
	}
	if len(kept) == 0 {
		kept = []int{0}
	}
	for from := 0; from < p.Bins(); from += averageBlock {
		to := min(from+averageBlock, p.Bins())
		mean := b.Mean[from:to]
		if len(kept) == 2 {
			averageTwo(mean, b.Density[from:to], t.Spectrum(kept[0], int(e))[from:to], t.Spectrum(kept[1], int(e))[from:to], t.Keep[kept[0]], t.Keep[kept[1]])
			continue
		}
		w := t.Keep[kept[0]]
		for i, v := range t.Spectrum(kept[0], int(e))[from:to] {
			mean[i] = complex(w*real(v), w*imag(v))
		}
		for _, k := range kept[1:] {
			w := t.Keep[k]
			for i, v := range t.Spectrum(k, int(e))[from:to] {
				mean[i] += complex(w*real(v), w*imag(v))
			}
		}
		scatter(t, b, e, kept, from, to)
	}
	if p.Smooth == nil {
		p.FillBelow(b.Mean, p.Buf.Reach)
		scatter(t, b, e, kept, 0, len(p.Buf.Reach))
	}
	if len(kept) < 2 {
		return noiseSpectrum{}, false
	}
	degrees := float64(len(kept) - 1)
	bands, freedom := p.Widened(float64(p.Segment) / p.RateHz * degrees)
	noise = noiseSpectrum{make([]float64, len(p.Bands)), freedom}
	deconv.MeanOver(noise.density, b.Density, p.RateHz/float64(p.N), bands)
	for i := range noise.density {
		noise.density[i] /= degrees * float64(p.Segment)
	}
	return noise, true
}

// averageTwo is average, and scatter, of two repeats, the weights of which add up to 1: the usual case.
func averageTwo(mean []complex128, density []float64, a, b []complex128, wa, wb float64) {
	a, b, density = a[:len(mean)], b[:len(mean)], density[:len(mean)]
	share := wa*wa + wb*wb
	for i := range mean {
		ar, ai, br, bi := real(a[i]), imag(a[i]), real(b[i]), imag(b[i])
		mean[i] = complex(wa*ar+wb*br, wa*ai+wb*bi)
		density[i] = share * ((ar-br)*(ar-br) + (ai-bi)*(ai-bi))
	}
}

// scatter writes the sum of |H − mean|² over the repeats that are kept to b.Density, for
// some bins.
func scatter(t *take.Take, b *take.Desk, e study.Ear, kept []int, from, to int) {
	if len(kept) < 2 {
		return
	}
	mean, density := b.Mean[from:to], b.Density[from:to]
	clear(density)
	for _, k := range kept {
		for i, v := range t.Spectrum(k, int(e))[from:to] {
			d := v - mean[i]
			density[i] += real(d)*real(d) + imag(d)*imag(d)
		}
	}
}
