// Package deconv holds the signal arithmetic behind a response: real Fourier
// transforms of well-chosen sizes, windows, and band powers of an impulse
// response. It knows nothing of files, channels or calibration.
package deconv

import (
	"fmt"
	"math"
	"unsafe"
)

// FFT is a plan for real transforms of one even length, done as one complex
// transform of half the length. It keeps work space and is not safe for use by
// several goroutines.
//
// gonum's transform is the model and the check of this one; docs/developing/speed.md says
// why there is one of our own: at the lengths of a sweep it takes a third of
// the time.
type FFT struct {
	n    int
	half *complexFFT
	turn []complex128 // exp(−2πik/n), k = 0 … n/4
	in   []complex128
}

// NewFFT returns a plan for even length n; FastLen gives lengths that are quick. It
// panics when n is not even and positive. n is in samples.
func NewFFT(n int) *FFT {
	if n < 2 || n%2 != 0 {
		panic(fmt.Sprintf("deconv: transform of length %d", n))
	}
	half := newComplexFFT(n / 2)
	f := &FFT{n: n, half: half, turn: make([]complex128, n/4+1),
		in: make([]complex128, half.inputLen())}
	for k := range f.turn {
		f.turn[k] = unit(k, n)
	}
	return f
}

// Clone returns a plan for another goroutine; the tables are shared.
func (f *FFT) Clone() *FFT {
	return &FFT{n: f.n, half: f.half, turn: f.turn, in: make([]complex128, f.half.inputLen())}
}

// Len returns the length of the real sequence. It is in samples.
func (f *FFT) Len() int { return f.n }

// Bins returns the number of complex bins, Len/2+1. Bin k of a sequence at rate r Hz lies
// at k·r/Len Hz.
func (f *FFT) Bins() int { return f.n/2 + 1 }

// Forward writes the spectrum of x, X[k] = Σ x[i]·exp(−2πjki/n), to dst. x has length
// Len or less, where zeros follow; dst has length Bins. The unit is that of x times
// samples, without a factor 1/n. It panics on other lengths.
func (f *FFT) Forward(dst []complex128, x []float64) { f.ForwardLess(dst, x, 0) }

// ForwardLess is Forward of x less an offset; what follows x is 0 all the same.
func (f *FFT) ForwardLess(dst []complex128, x []float64, offset float64) {
	if len(x) > f.n || len(dst) != f.Bins() {
		panic(fmt.Sprintf("deconv: transform of %d samples to %d bins with a plan for %d", len(x), len(dst), f.n))
	}
	m := f.n / 2
	filled := f.fill(x, offset)
	z := dst[:m]
	f.half.transform(z, f.in, filled)
	// z holds the spectra of the even and the odd samples in one.
	z0 := z[0]
	dst[0], dst[m] = complex(real(z0)+imag(z0), 0), complex(real(z0)-imag(z0), 0)
	untangle(z, f.turn)
}

// untangleFrom parts the spectra of even and odd samples from value k on: k and
// m−k at a time, up to the middle.
func untangleFrom(z, turn []complex128, k int) {
	m := len(z)
	for ; k <= m/2; k++ {
		a, b := z[k], z[m-k]
		er, ei := (real(a)+real(b))/2, (imag(a)-imag(b))/2
		or, oi := (imag(a)+imag(b))/2, (real(b)-real(a))/2
		tr, ti := mul(complex(or, oi), turn[k])
		z[k] = complex(er+tr, ei+ti)
		z[m-k] = complex(er-tr, ti-ei)
	}
}

// Inverse writes the sequence whose spectrum is c to dst: Inverse undoes Forward, the
// factor 1/n included. The imaginary parts of c[0] and c[n/2] count for nothing. c keeps
// its values. c has length Bins, dst length Len. It panics on other lengths.
func (f *FFT) Inverse(dst []float64, c []complex128) {
	if len(dst) != f.n || len(c) != f.Bins() {
		panic(fmt.Sprintf("deconv: transform of %d bins to %d samples with a plan for %d", len(c), len(dst), f.n))
	}
	f.tangle(c)
	// The parts of a complex value are an even and an odd sample.
	z := unsafe.Slice((*complex128)(unsafe.Pointer(unsafe.SliceData(dst))), f.n/2)
	f.half.transform(z, f.in, f.half.n/f.half.rows)
}

// unit returns exp(−2πik/n), with the angle reduced to an eighth of a turn so
// that tables are accurate to the last place and symmetric.
func unit(k, n int) complex128 {
	k %= n
	if k < 0 {
		k += n
	}
	switch {
	case 2*k > n:
		v := unit(n-k, n)
		return complex(real(v), -imag(v))
	case 4*k > n:
		s, c := math.Sincos(2 * math.Pi * float64(2*k-n) / float64(2*n))
		return complex(-c, s)
	case 8*k > n:
		s, c := math.Sincos(2 * math.Pi * float64(n-4*k) / float64(4*n))
		return complex(s, -c)
	}
	s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
	return complex(c, -s)
}

// FastLen returns the length of at least n, even and of no prime factor above 5, whose
// transform is the quickest. Both are in samples; n below 2 gives the least even length.
func FastLen(n int) int { return FastMultiple(n, 2) }

// FastMultiple is FastLen among the multiples of m. All are in samples.
func FastMultiple(n, m int) int {
	best, least := 0, math.Inf(1)
	for q := max(1, (n+m-1)/m); ; q++ {
		if best != 0 && float64(q*m) > 1.2*float64(n) {
			return best
		}
		if cost, ok := costOf(q * m); ok && cost < least {
			best, least = q*m, cost
		}
	}
}

// costOf is the relative time of a transform of length n, as measured: the
// sum over its steps, two bits of length by radix 4 counting 1. ok is false
// for lengths with other primes.
func costOf(n int) (cost float64, ok bool) {
	steps, r := 0.0, n
	for _, s := range [...]struct {
		radix int
		cost  float64
	}{{4, 1}, {2, 0.7}, {3, 1.1}, {5, 1.6}} {
		for r%s.radix == 0 {
			r /= s.radix
			steps += s.cost
		}
	}
	return float64(n) * (steps + 1), r == 1
}
