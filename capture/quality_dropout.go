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
	parts := t.parts()
	heard := make([]irregular, len(parts))
	t.p.share(len(parts), func(_ *desk, i int) { heard[i] = t.listen(parts[i]) })
	var breaks [roles][]lapse
	for i, h := range heard {
		role := parts[i].role
		if h.held > 0 {
			t.addDropout(role, h.at, fmt.Sprintf("%d samples in a row are equal in the middle of the sweep", h.held), float64(h.held), "samples")
			return
		}
		breaks[role] = append(breaks[role], h.breaks...)
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

// irregular is what is heard in one repeat of one channel.
type irregular struct {
	at, held int // the first run of equal samples
	breaks   []lapse
}

func (t *take) listen(p part) (out irregular) {
	x, cut, role := t.x[p.role], t.cut[p.k], p.role
	if t.peak[role] == 0 || t.spoilt[role] {
		return out // every clipped cycle is a break
	}
	// Not where the sweep fades in: the recording may begin there.
	from, to := max(0, cut+2*t.p.preroll), min(t.total, cut+t.p.preroll+len(t.p.x))
	if out.at, out.held = heldRun(x, from, to, t.peak[role]); out.held == 0 {
		out.breaks = findBreaks(x, from, to, t.p.rate, t.peak[role], clickFaint)
	}
	return out
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
	// Every run of heldLeast holds one of these pairs.
	for pair := from + heldLeast - 1; pair < to; pair += heldLeast - 1 {
		if x[pair] != x[pair-1] {
			continue
		}
		i := pair
		for i-1 > from && x[i-2] == x[i] {
			i--
		}
		j := pair
		for j+1 < to && x[j+1] == x[i] {
			j++
		}
		length := j - i + 2
		first := i - 1
		pair = j + 1 // the next run begins behind this one
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
		worst := 0
		for i, a := range e {
			if a > now.worst {
				now.worst, worst = a, i
			}
		}
		now.at = b + worst
		if now.worst > clickSize*peak { // else it is no break anyway
			for _, a := range e {
				if a > now.worst/4 {
					now.crowd++
				}
			}
		}
		head, rest := e[:max(0, worst-1)], e[min(block, worst+clickOrder+2):]
		now.mean = (sum(head) + sum(rest)) / float64(len(head)+len(rest))
		if b > from+clickOrder {
			judge(last, before, now.mean)
			before = last.mean
		}
		last = now
	}
	judge(last, before, 0)
	return out
}

// sum adds up in four parts, which do not wait for each other.
func sum(x []float64) float64 {
	var a, b, c, d float64
	for ; len(x) >= 4; x = x[4:] {
		a, b, c, d = a+x[0], b+x[1], c+x[2], d+x[3]
	}
	for _, v := range x {
		a += v
	}
	return a + b + (c + d)
}

// predictionError writes the magnitude of x less its best linear prediction
// from the clickOrder samples before, which x begins with.
func predictionError(e, x []float64) {
	const p = clickOrder
	var c [p + 1][p + 1]float64 // c[i][j] = Σ x(n−i)·x(n−j)
	var c0, c1, c2, c3, c4 float64
	v4, v3, v2, v1 := x[0], x[1], x[2], x[3]
	for _, v := range x[p:] {
		c0, c1, c2, c3, c4 = c0+v*v, c1+v*v1, c2+v*v2, c3+v*v3, c4+v*v4
		v4, v3, v2, v1 = v3, v2, v1, v
	}
	c[0] = [p + 1]float64{c0, c1, c2, c3, c4}
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
	w1, w2, w3, w4 := w[1], w[2], w[3], w[4]
	v4, v3, v2, v1 = x[0], x[1], x[2], x[3]
	for n, v := range x[p:] {
		e[n] = math.Abs(v - w1*v1 - w2*v2 - w3*v3 - w4*v4)
		v4, v3, v2, v1 = v3, v2, v1, v
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
