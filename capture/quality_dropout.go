package capture

import (
	"fmt"
	"math"
	"slices"
)

// Limits of the search for lost, repeated and blanked samples. Common
// practice, no source; docs/quality.md shows what they find.
const (
	clickOrder    = 4     // of the linear prediction
	clickSeconds  = 0.004 // length of a block
	clickLeast    = 128   // samples of a block
	clickRatio    = 25.0  // prediction error over its mean magnitude beside it
	clickFaint    = 8.0   // the same in a second channel at the same place
	clickSize     = 0.003 // of the recorded peak: smaller ones do no harm
	clickCrowd    = 3 * (clickOrder + 1)
	heldLeast     = 6    // equal samples in a row that can be a dropout
	heldMoves     = 24.0 // how far the signal would have moved meanwhile, in least steps
	meetSamples   = 8    // within which a fault meets itself in another channel
	evenSamples   = 0.5  // that a repeat may be off the even spacing
	clockSurePPM  = 150  // from which two estimates of the clock are compared
	clockApartPPM = 50   // by which they may differ, beyond their errors
)

// checkDropouts looks for places where samples were lost, repeated or blanked
// while the sweep was recorded. The sweep is locally predictable: an error of
// linear prediction that stands alone is a break in the signal. Breaks in all
// channels at once are the recorder's; in one only they may be a click in the
// room or a cable.
func (t *take) checkDropouts() {
	if t.p.abrupt {
		return // the excitation has breaks of its own
	}
	var breaks [roles][]lapse
	for role, x := range t.x {
		if x == nil || t.peak[role] == 0 {
			continue
		}
		if t.spoilt[role] {
			continue // every clipped cycle is a break
		}
		for _, cut := range t.cut {
			// Not where the sweep fades in: the recording may begin there.
			from, to := max(0, cut+2*t.p.preroll), min(t.total, cut+t.p.preroll+len(t.p.x))
			if at, n := heldRun(x, from, to, t.peak[role]); n > 0 {
				t.addDropout(role, at, fmt.Sprintf("%d samples in a row are equal in the middle of the sweep", n), float64(n), "samples")
				return
			}
			breaks[role] = append(breaks[role], findBreaks(x, from, to, t.p.rate, t.peak[role], clickFaint)...)
		}
	}
	t.checkSpacing()
	for role, found := range breaks {
		var alone []int
		for _, b := range found {
			if b.over < clickRatio {
				continue
			}
			seen := role == loopback // nothing else breaks a wire
			for other, also := range breaks {
				seen = seen || other != role && slices.ContainsFunc(also, func(o lapse) bool { return o.at >= b.at-meetSamples && o.at <= b.at+meetSamples })
			}
			if seen {
				t.addDropout(-1, b.at, "samples were lost or repeated", float64(b.at)/t.p.rate, "s")
				return
			}
			alone = append(alone, b.at)
		}
		if n := len(alone); n > 0 {
			t.add(Finding{Code: "click", Severity: Warning, Channel: channelNames[role], Value: float64(n), Unit: "places",
				Message: fmt.Sprintf("%d clicks in this channel alone, the first at %.3f s: a loose contact, a touch, or lost samples", n, float64(alone[0])/t.p.rate),
				Mend:    "check plugs and cables, and record again"})
		}
	}
}

func (t *take) addDropout(role, at int, what string, value float64, unit string) {
	f := Finding{Code: "dropout", Severity: Refusal, Value: value, Unit: unit,
		Message: fmt.Sprintf("%s, at %.3f s", what, float64(at)/t.p.rate),
		Mend:    "use larger buffers, close other programs, copy the file again; and record again"}
	if role >= 0 {
		f.Channel = channelNames[role]
	}
	t.add(f)
}

// checkSpacing looks for samples lost or repeated between the repeats, where no
// signal shows it: the repeats are then not evenly spaced, or the clock between
// repeats is not the one within a sweep of the loopback.
func (t *take) checkSpacing() {
	if has(t.rec.Quality.Findings, "dropout") {
		return
	}
	n := len(t.cut)
	place := func(k int) float64 { return float64(t.cut[k]-t.cut[0]) + t.shift[k] }
	if n > 2 {
		var gaps []float64 // per period
		for k := 1; k < n; k++ {
			gaps = append(gaps, (place(k)-place(k-1))/float64(t.index[k]-t.index[k-1]))
		}
		usual := median(slices.Clone(gaps))
		for k, g := range gaps {
			if off := g - usual; math.Abs(off) > evenSamples {
				t.addDropout(-1, t.cut[k+1], fmt.Sprintf("repeat %d comes %+.1f samples off the even spacing: samples were lost or repeated before it", t.index[k+1]+1, off), off, "samples")
				return
			}
		}
	}
	if n == 2 && t.x[loopback] != nil && t.p.passing != nil && math.Abs(t.rec.DriftPPM) > clockSurePPM {
		d, se, ok := t.driftOf(loopback)
		if apart := t.rec.DriftPPM - d*1e6; ok && math.Abs(apart) > clockApartPPM+5*se*1e6 {
			off := apart * 1e-6 * float64(t.p.period)
			t.addDropout(-1, t.cut[1], fmt.Sprintf("the second repeat comes %+.0f samples off where the clock of the sweep puts it: samples were lost or repeated between them", off), off, "samples")
		}
	}
}

// heldRun returns the first place where the signal stays exactly as it is
// although it moves on both sides, and for how many samples; 0 when there is
// none. A run at the signal's own peak is a clipped one.
func heldRun(x []float64, from, to int, peak float64) (at, n int) {
	for i := from + 1; i < to; i++ {
		if x[i] != x[i-1] {
			continue
		}
		j := i
		for j+1 < to && x[j+1] == x[i] {
			j++
		}
		length := j - i + 2
		first := i - 1
		i = j
		if length < heldLeast || math.Abs(x[first]) > 0.98*peak || first-length < from || j+1+length >= to {
			continue
		}
		// The least step beside the run is the resolution of the recording.
		var before, after, least float64
		least = math.Inf(1)
		for k := 1; k <= length; k++ {
			b, a := math.Abs(x[first-k+1]-x[first-k]), math.Abs(x[j+k]-x[j+k-1])
			before, after = before+b, after+a
			for _, v := range [2]float64{a, b} {
				if v > 0 {
					least = min(least, v)
				}
			}
		}
		least = max(least, 1.0/(1<<23))
		if min(before, after) > heldMoves*least && max(before, after) > clickSize*peak {
			return first, length
		}
	}
	return 0, 0
}

// lapse is a place where a signal is not what its past predicts.
type lapse struct {
	at   int
	over float64 // error over the mean magnitude of that beside it
}

// findBreaks returns where the prediction error exceeds ratio times that beside
// it, ascending.
func findBreaks(x []float64, from, to int, rate, peak, ratio float64) (out []lapse) {
	block := max(clickLeast, int(clickSeconds*rate))
	type look struct {
		at, crowd   int
		worst, mean float64
	}
	var last, now look
	e := make([]float64, block)
	judge := func(l look, before, after float64) {
		beside := max(l.mean, before, after)
		if l.worst > ratio*beside && l.worst > clickSize*peak && l.crowd <= clickCrowd {
			out = append(out, lapse{l.at, l.worst / max(beside, 1e-12)})
		}
	}
	before := 0.0
	for b := from + clickOrder; b+block <= to; b += block {
		predictionError(e, x[b-clickOrder:b+block])
		now = look{}
		for i, v := range e {
			if a := math.Abs(v); a > now.worst {
				now.worst, now.at = a, b+i
			}
		}
		n := 0
		for i, v := range e {
			a := math.Abs(v)
			if a > now.worst/4 {
				now.crowd++
			}
			if d := b + i - now.at; d < -1 || d > clickOrder+1 {
				now.mean += a
				n++
			}
		}
		now.mean /= float64(n)
		if b > from+clickOrder {
			judge(last, before, now.mean)
			before = last.mean
		}
		last = now
	}
	judge(last, before, 0)
	return out
}

// predictionError writes x less its best linear prediction from the clickOrder
// samples before, which x begins with.
func predictionError(e, x []float64) {
	const p = clickOrder
	var c [p + 1][p + 1]float64 // c[i][j] = Σ x(n−i)·x(n−j)
	for n := p; n < len(x); n++ {
		v := x[n-p : n+1 : n+1]
		now := v[p]
		for j := range p + 1 {
			c[0][j] += now * v[p-j]
		}
	}
	// A step in both indices changes the sum at its two ends only.
	end := len(x) - 1
	for i := 1; i <= p; i++ {
		for j := i; j <= p; j++ {
			c[i][j] = c[i-1][j-1] + x[p-i]*x[p-j] - x[end+1-i]*x[end+1-j]
		}
	}
	var a [p + 1][p + 2]float64
	for i := 1; i <= p; i++ {
		for j := 1; j <= p; j++ {
			a[i][j] = c[min(i, j)][max(i, j)]
		}
		a[i][i] *= 1 + 1e-12
		a[i][p+1] = c[0][i]
	}
	var w [p + 1]float64
	for i := 1; i <= p; i++ { // symmetric and positive: no pivots
		if !(a[i][i] > 1e-300) {
			break
		}
		for k := i + 1; k <= p; k++ {
			f := a[k][i] / a[i][i]
			for j := i; j <= p+1; j++ {
				a[k][j] -= f * a[i][j]
			}
		}
	}
	for i := p; i >= 1; i-- {
		if !(a[i][i] > 1e-300) {
			continue
		}
		s := a[i][p+1]
		for j := i + 1; j <= p; j++ {
			s -= a[i][j] * w[j]
		}
		w[i] = s / a[i][i]
	}
	for n := p; n < len(x); n++ {
		v := x[n-p : n+1 : n+1]
		e[n-p] = v[4] - w[1]*v[3] - w[2]*v[2] - w[3]*v[1] - w[4]*v[0]
	}
}

// startles reports whether the excitation itself breaks, at half the limit.
func (c *constants) startles() bool {
	peak := 0.0
	for _, v := range c.x {
		peak = max(peak, math.Abs(v))
	}
	return len(findBreaks(c.x, 0, len(c.x), c.rate, peak, clickRatio/2)) > 0
}
