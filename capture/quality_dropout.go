package capture

import (
	"fmt"
	"math"
	"slices"
)

// Limits of the search for lost, repeated and blanked samples. Common
// practice, no source; docs/developing/quality.md shows what they find.
const (
	lapseRatio    = 12.0  // prediction error over its mean magnitude beside it
	lapseFaint    = 7.0   // the same in a second channel at the same place
	lapseSize     = 0.003 // prediction error, of the recorded peak: smaller ones do no harm
	clickSize     = 0.01  // the same in one microphone alone: real rooms have smaller ones
	heldLeast     = 6     // equal samples in a row that can be a dropout
	heldMoves     = 24.0  // how far the signal would have moved meanwhile, in least steps
	meetSamples   = 8     // within which a fault meets itself in another channel
	evenSamples   = 0.35  // that a repeat may be off the even spacing
	clockSurePPM  = 150   // from which two estimates of the clock are compared
	clockApartPPM = 50    // by which they may differ, beyond their errors
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
			if b.over < lapseRatio {
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
			if b.size > clickSize*t.peak[role] {
				alone = append(alone, b.at)
			}
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
		out.breaks = t.p.findBreaks(x, cut+t.p.preroll, from, to, t.peak[role], lapseFaint)
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
		// A slow signal may rest on one step of the converter; it leaves by one.
		edge := max(math.Abs(x[first]-x[first-1]), math.Abs(x[j+1]-x[j]))
		if edge > 1.5*least && min(before, after) > heldMoves*least && max(before, after) > lapseSize*peak {
			return first, length
		}
	}
	return 0, 0
}
