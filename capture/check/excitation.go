package check

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/take"
)

// checkExcitation looks for another excitation than the stated one, one that was
// found all the same: divided by the wrong sweep, frequencies arrive at times of
// their own, and earlier and later than any headphone lets them.
func checkExcitation(t *take.Take) []finding.Finding {
	p := t.Bench
	spread := math.Inf(1)
	if t.X[take.Loopback] != nil {
		spread = arrivals(p, t.Spectrum(t.FirstKept(), take.Loopback), p.Spectrum)
	} else {
		for e := range 2 {
			if t.X[e] != nil {
				spread = min(spread, arrivals(p, t.Spectrum(t.FirstKept(), e), nil))
			}
		}
	}
	if math.IsInf(spread, 1) || spread < arrivalSeconds {
		return nil
	}
	f := finding.New(finding.OtherExcitation,
		fmt.Sprintf("frequencies arrive up to %.0f ms apart: another sweep was played than the stated one (kind, range or length)", 1000*spread)).
		Of(1000*spread, "ms")
	if t.X[take.Loopback] != nil { // by which the response is divided, whatever it is
		f = f.Rated(finding.Warning)
	}
	return []finding.Finding{f}
}

// arrivals is how far apart the group delays of thirds of an octave lie, in
// seconds; of those alone in which one delay stands out. h is a response, or a spectrum
// with that of what was played. Infinite of fewer than six.
func arrivals(p *take.Bench, h, played []complex128) float64 {
	step := p.RateHz / float64(p.N)
	var at []float64
	for _, b := range band.AllThirds() {
		if b.Mid < arrivalFromHz || b.Lower < 1.1*p.LowHz || b.Upper > min(p.HighHz/1.1, 0.45*p.RateHz) {
			continue
		}
		var turn complex128
		var power float64
		from, to := int(b.Lower/step)+1, min(int(math.Ceil(b.Upper/step)), len(h))
		var before complex128
		var was float64
		for k := from; k < to; k++ {
			v := h[k]
			if played != nil {
				v *= cmplx.Conj(played[k])
			}
			is := real(v)*real(v) + imag(v)*imag(v)
			if k > from {
				turn += v * cmplx.Conj(before)
				power += (was + is) / 2
			}
			before, was = v, is
		}
		if cmplx.Abs(turn) > arrivalClear*power {
			at = append(at, -cmplx.Phase(turn)/(2*math.Pi*step))
		}
	}
	if len(at) < 6 {
		return math.Inf(1)
	}
	// They lie on a circle as long as the segment: its widest gap is outside.
	slices.Sort(at)
	length := 1 / step
	gap := at[0] + length - at[len(at)-1]
	for i := range at[1:] {
		gap = max(gap, at[i+1]-at[i])
	}
	return length - gap
}

// Limits of what arrives when. Common practice, no source.
const (
	arrivalFromHz  = 315   // below it headphones delay
	arrivalClear   = 0.8   // of a third's power in one delay
	arrivalSeconds = 0.006 // more than a headphone's resonances and a room's first reflections
)
