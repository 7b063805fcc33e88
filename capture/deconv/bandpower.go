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
	fullHz    float64
	fullTop   int
	short     *FFT // of the decimated length
	taper     []float64
	shortSpec []complex128
	fine      *FFT
	fineSeq   []float64
	fineSpec  []complex128
	fineTop   int
	power     []float64
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
	b.power = make([]float64, b.fineTop)
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
	MeanPowerOver(dst[b.low:], b.spec[:b.fullTop], b.fullHz, b.bands[b.low:])
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
