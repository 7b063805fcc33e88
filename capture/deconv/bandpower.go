package deconv

import (
	"fmt"

	"asworn/capture/band"
)

// Resolution of the band integrals: a band is integrated on a grid of at least
// this many bins per band, by the trapezoid rule with the first and the last
// bin shared out linearly between the bands that meet there.
const binsPerBand = 12

// guard is the room in decimated samples that the ringing of the decimation
// filter gets on either side.
const guard = 32

// BandPower turns impulse responses of up to a fixed length into the mean of
// |H(f)|² over each band. High bands are read off one transform of the
// response. Low bands, narrower than its bins, are read off a second one: the
// response is decimated by cutting its spectrum short under a smooth taper and
// padded with zeros. Zero padding adds no resolution; it evaluates the same
// transform more finely, so that the integral over a band is right however narrow
// the band is. The grid is such that the narrowest band spans binsPerBand bins; of it
// every few are worked out, from which all others follow (quadrature).
//
// A BandPower keeps its plans and buffers and is not safe for use by several
// goroutines.
type BandPower struct {
	length, offset int
	bands          []band.Band
	low            int // bands below this index come from the fine grid

	full      *FFT
	seq       []float64
	spec      []complex128
	power     []float64
	fullHz    float64
	fullTop   int
	short     *FFT // of the decimated length
	taper     []float64
	shortSpec []complex128
	fine      *FFT
	fineSeq   []float64
	fineSpec  []complex128
	fineTop   int
	means     []quadrature // of the low bands
}

// NewBandPower returns a BandPower for responses of up to length samples at
// rateHz. Bands must ascend; what lies above half the rate counts as silence.
func NewBandPower(rateHz float64, length int, bands []band.Band) (*BandPower, error) {
	if length < 1 || !(rateHz > 0) || len(bands) == 0 {
		return nil, fmt.Errorf("deconv: band power of %d samples at %g Hz in %d bands", length, rateHz, len(bands))
	}
	b := &BandPower{length: length, bands: bands}
	// Decimate to a rate of about 3 kHz.
	d := 1
	for rateHz/float64(2*d) >= 2500 {
		d *= 2
	}
	b.offset = guard * d
	n := FastMultiple(max(length, int(0.5*rateHz))+2*b.offset, 2*d)
	b.full = NewFFT(n)
	b.fullHz = rateHz / float64(n)
	b.seq = make([]float64, b.offset+length) // zeros before the response
	b.spec = make([]complex128, b.full.Bins())
	// The fine grid serves bands that lie wholly below half its Nyquist
	// frequency, where the taper starts.
	flat := rateHz / float64(4*d)
	for b.low < len(bands) && bands[b.low].Upper-bands[b.low].Lower < binsPerBand*b.fullHz && bands[b.low].Upper < flat {
		b.low++
	}
	b.fullTop = min(b.full.Bins(), int(bands[len(bands)-1].Upper/b.fullHz)+2)
	b.power = make([]float64, b.fullTop)
	if b.low == 0 {
		return b, nil
	}
	m := n / d
	b.short = NewFFT(m)
	b.shortSpec = make([]complex128, b.short.Bins())
	b.taper = make([]float64, b.short.Bins())
	for k := range b.taper {
		b.taper[k] = Smoothstep(2 - float64(k)*b.fullHz/flat)
	}
	narrow := bands[0].Upper - bands[0].Lower
	g := FastLen(max(m, int(binsPerBand*rateHz/float64(d)/narrow)))
	every := g / (oversampling * m)
	for every > 1 && g%(2*every) != 0 {
		every--
	}
	every = max(1, every)
	b.fine = NewFFT(g / every)
	fineHz := rateHz / float64(d) / float64(g)
	b.fineSeq = make([]float64, m)
	b.fineSpec = make([]complex128, b.fine.Bins())
	kernel := kernel(every)
	for _, bd := range bands[:b.low] {
		q := newQuadrature(bd.Lower/fineHz, bd.Upper/fineHz, every, kernel)
		b.means = append(b.means, q)
		b.fineTop = max(b.fineTop, q.first+len(q.weights))
	}
	b.power = make([]float64, max(b.fullTop, b.fineTop))
	return b, nil
}

// Mean writes the mean of |H(f)|² over each band to dst, one value per band.
// h has at most the length the BandPower was made for.
func (b *BandPower) Mean(dst []float64, h []float64) {
	if len(h) > b.length {
		panic(fmt.Sprintf("deconv: %d samples on a band power for %d", len(h), b.length))
	}
	copy(b.seq[b.offset:], h)
	b.full.Forward(b.spec, b.seq[:b.offset+len(h)])
	for k, c := range b.spec[:b.fullTop] {
		b.power[k] = real(c)*real(c) + imag(c)*imag(c)
	}
	MeanOver(dst[b.low:], b.power[:b.fullTop], b.fullHz, b.bands[b.low:])
	if b.low == 0 {
		return
	}
	for k := range b.shortSpec {
		b.shortSpec[k] = b.spec[k] * complex(b.taper[k], 0)
	}
	b.short.Inverse(b.fineSeq, b.shortSpec)
	b.fine.Forward(b.fineSpec, b.fineSeq)
	for k, c := range b.fineSpec[:b.fineTop] {
		b.power[k] = real(c)*real(c) + imag(c)*imag(c)
	}
	for i, q := range b.means {
		dst[i] = q.of(b.power)
	}
}

// MeanOver writes to dst the mean over each band of a density given at the frequencies 0,
// stepHz, 2·stepHz … and taken to be linear between them and zero above the last. dst has
// the length of bands and the unit of the density; a band above the last frequency gets
// 0.
func MeanOver(dst, density []float64, stepHz float64, bands []band.Band) {
	for i, bd := range bands {
		dst[i] = integrate(density, bd.Lower/stepHz, bd.Upper/stepHz) * stepHz / (bd.Upper - bd.Lower)
	}
}

// integrate returns the integral from a to b, in bins, of the piecewise linear
// function through p.
func integrate(p []float64, a, b float64) float64 {
	top := float64(len(p) - 1)
	a, b = max(a, 0), min(b, top)
	if !(a < b) {
		return 0
	}
	at := func(x float64) float64 {
		k := int(x)
		if k >= len(p)-1 {
			return p[len(p)-1]
		}
		t := x - float64(k)
		return p[k]*(1-t) + p[k+1]*t
	}
	ka, kb := int(a)+1, int(b) // first and last whole bins inside
	if ka > kb {
		return (b - a) * (at(a) + at(b)) / 2
	}
	sum := (float64(ka) - a) * (at(a) + p[ka]) / 2
	sum += (b - float64(kb)) * (p[kb] + at(b)) / 2
	if kb > ka {
		sum += (p[ka] + p[kb]) / 2
		for _, v := range p[ka+1 : kb] {
			sum += v
		}
	}
	return sum
}
