// Package clock measures how the recorder's clock runs against the player's:
// from the repeats, or from the sweep itself where there is only one. It changes
// no sample.
package clock

import (
	"math"
	"math/cmplx"

	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/take"
)

// Align measures by how much each repeat is later than its cut says, relative
// to the first, to a small part of a sample: from the slope of the phase of
// the cross-spectrum of the two, weighted by its magnitude. It starts with the
// low frequencies, where the phase cannot have wrapped, and takes in higher
// ones as the remainder shrinks.
func Align(t *take.Take) {
	var roles []int
	if t.X[take.Loopback] != nil {
		roles = []int{take.Loopback}
	} else {
		for e := range 2 {
			if t.X[e] != nil {
				roles = append(roles, e)
			}
		}
	}
	t.Ratio = 1
	errs := make([]float64, len(t.Cut))
	for k := 1; k < len(t.Cut); k++ {
		t.Shift[k], errs[k] = delay(t, k, roles)
	}
	if len(t.Cut) < 2 {
		return
	}
	// Least squares line of the place of each repeat over its number.
	var n, sx, sy, sxx, sxy float64
	at := func(k int) float64 { return float64(t.Cut[k]-t.Cut[0]) + t.Shift[k] }
	for k, j := range t.Index {
		x := float64(j) * float64(t.Bench.Period)
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+at(k), sxx+x*x, sxy+x*at(k)
	}
	den := n*sxx - sx*sx
	slope := (n*sxy - sx*sy) / den
	t.Rec.DriftPPM = (slope - 1) * 1e6
	allow(t, slope-1)
	// Its error: from the phase noise, or from the scatter about the line when
	// that is larger.
	variance := 0.0
	for _, v := range errs {
		variance = max(variance, v*v)
	}
	if n > 2 {
		mean, scatter := (sy-slope*sx)/n, 0.0
		for k, j := range t.Index {
			r := at(k) - mean - slope*float64(j)*float64(t.Bench.Period)
			scatter += r * r
		}
		variance = max(variance, 2*scatter/(n-2))
	}
	// variance is that of a difference of two repeats, twice that of one.
	se := math.Sqrt(variance / 2 * n / den)
	if !(se < 1) { // no clock is off by its own rate
		t.Add(finding.New(finding.NoExcitation, "the repeats of the excitation do not resemble each other: samples were lost between them, or something else covers them").
			Mended("use larger buffers, close other programs, see that the right excitation was played and is heard, and record again"))
		return
	}
	t.Rec.DriftSEPPM = se * 1e6
}

// delay returns how much later repeat k is than repeat 0 beyond their cuts, in
// samples, with its standard error.
func delay(t *take.Take, k int, roles []int) (shift, se float64) {
	p := t.Bench
	var a, b [][]complex128
	for _, role := range roles {
		a, b = append(a, t.Spectrum(0, role)), append(b, t.Spectrum(k, role))
	}
	return phaseDelay(a, b, p.N, p.LowHz/p.RateHz, p.HighHz/p.RateHz)
}

// phaseDelay returns by how many samples the signals with the spectra b, taken
// together, are later than those with the spectra a; n is the length of their
// transforms, low and high bound the frequencies in cycles per sample.
func phaseDelay(a, b [][]complex128, n int, low, high float64) (shift, se float64) {
	step := 1 / float64(n) // cycles per sample per bin
	lo := max(1, int(low*float64(n)))
	hi := min(n/2, int(high*float64(n)))
	for top := min(hi, max(4*lo, n/100)); ; top = min(4*top, hi) {
		rounds := 2
		if top > 8*n/100 {
			rounds = 1 // by now the remainder is far below a sample
		}
		for range rounds {
			var slope, curve, noise float64
			for j := range a {
				a, b := a[j], b[j]
				phase := 2 * math.Pi * step * shift
				turn := cmplx.Rect(1, phase)
				var r complex128
				for i := lo; i <= top; i++ {
					if (i-lo)%256 == 0 {
						r = cmplx.Rect(1, phase*float64(i))
					}
					c := b[i] * cmplx.Conj(a[i]) * r
					r *= turn
					f := 2 * math.Pi * float64(i) * step
					slope -= f * imag(c)
					curve += f * f * real(c)
					noise += f * f * imag(c) * imag(c)
				}
			}
			if !(curve > 0) {
				return shift, math.Inf(1)
			}
			shift += slope / curve
			se = math.Sqrt(noise) / curve
		}
		if top == hi {
			return shift, se
		}
	}
}

// allow has the excitation stretched for a recorder's clock that runs fast by d, or by
// nothing where d is beyond what even two nominal rates differ by (44.1 and 48 kHz: 9 %): that
// is no clock, and what is measured of it in a damaged recording has no bounds.
func allow(t *take.Take, d float64) {
	t.Ratio = 1
	if math.Abs(d) < 0.1 {
		t.Ratio += d
	}
}

// Reference returns the spectrum of the excitation as the recorder's clock saw it. It has
// Plan.Bins bins, in sample values times samples, and is the plan's own or a buffer of
// the bench: it must not be written to, nor kept beyond the recording.
func Reference(t *take.Take) []complex128 {
	p := t.Bench
	if math.Abs(t.Ratio-1)*float64(len(p.X)) < 0.005 {
		return p.Spectrum
	}
	segment := p.Own.Segment
	clear(segment)
	if p.Design {
		copy(segment[p.Preroll:], p.Setup.Sweep.Stretched(t.Ratio))
	} else {
		copy(segment[p.Preroll:], deconv.Resample(p.X, t.Ratio))
	}
	if p.Buf.Stretch == nil {
		p.Buf.Stretch = make([]complex128, p.Bins())
	}
	p.Own.FFT.Forward(p.Buf.Stretch, segment)
	return p.Buf.Stretch
}
