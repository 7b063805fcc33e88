package check

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/clock"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/samples"
	"asworn/capture/take"
)

// checkDropouts looks for places where samples were lost, repeated or blanked
// while the sweep was recorded. The sweep is locally predictable: an error of
// linear prediction that stands alone is a break in the signal. Breaks in all
// channels at once are the recorder's; in one only they may be a click in the
// room or a cable.
func checkDropouts(t *take.Take) {
	if t.Bench.Abrupt {
		return // the excitation has breaks of its own
	}
	parts := t.Parts()
	heard := make([]irregular, len(parts))
	t.Bench.Share(len(parts), func(_ *take.Desk, i int) { heard[i] = listen(t, parts[i]) })
	var breaks [take.Roles][]samples.Break
	for i, h := range heard {
		role := parts[i].Role
		if h.held > 0 {
			addDropout(t, role, h.at, fmt.Sprintf("%d samples in a row are equal in the middle of the sweep", h.held), float64(h.held), "samples")
			return
		}
		breaks[role] = append(breaks[role], h.breaks...)
	}
	checkSpacing(t)
	for role, found := range breaks {
		var alone []int
		for _, b := range found {
			if b.Over < samples.LapseRatio {
				continue
			}
			seen := role == take.Loopback // nothing else breaks a wire
			for other, also := range breaks {
				seen = seen || other != role && slices.ContainsFunc(also, func(o samples.Break) bool { return o.At >= b.At-meetSamples && o.At <= b.At+meetSamples })
			}
			if seen {
				addDropout(t, -1, b.At, "samples were lost or repeated", float64(b.At)/t.Bench.RateHz, "s")
				return
			}
			if b.Size > clickSize*t.Peak[role] {
				alone = append(alone, b.At)
			}
		}
		if n := len(alone); n > 0 {
			t.Add(finding.New(finding.Click, fmt.Sprintf("%d clicks in this channel alone, the first at %.3f s: a loose contact, a touch, or lost samples", n, float64(alone[0])/t.Bench.RateHz)).
				On(take.ChannelNames[role]).Of(float64(n), "places"))
		}
	}
}

// irregular is what is heard in one repeat of one channel.
type irregular struct {
	at, held int // the first run of equal samples
	breaks   []samples.Break
}

func listen(t *take.Take, p take.Part) (out irregular) {
	x, cut, role := t.X[p.Role], t.Cut[p.Repeat], p.Role
	if t.Peak[role] == 0 || t.Spoilt[role] {
		return out // every clipped cycle is a break
	}
	// Not where the sweep fades in: the recording may begin there.
	from, to := max(0, cut+2*t.Bench.Preroll), min(t.Total, cut+t.Bench.Preroll+len(t.Bench.X))
	if out.at, out.held = samples.HeldRun(x, from, to, t.Peak[role]); out.held == 0 {
		out.breaks = samples.BreakSearch{RateHz: t.Bench.RateHz, Turn: t.Bench.Turn}.Find(x, cut+t.Bench.Preroll, from, to, t.Peak[role], samples.LapseFaint)
	}
	return out
}

func addDropout(t *take.Take, role, at int, what string, value float64, unit string) {
	f := finding.New(finding.Dropout, fmt.Sprintf("%s, at %.3f s", what, float64(at)/t.Bench.RateHz)).
		Of(value, unit)
	if role >= 0 {
		f.Channel = take.ChannelNames[role]
	}
	t.Add(f)
}

// checkSpacing looks for samples lost or repeated between the repeats, where no
// signal shows it: the repeats are then not evenly spaced, or the clock between
// repeats is not the one within a sweep of the loopback.
func checkSpacing(t *take.Take) {
	if finding.Has(t.Rec.Quality.Findings, finding.Dropout) {
		return
	}
	n := len(t.Cut)
	place := func(k int) float64 { return float64(t.Cut[k]-t.Cut[0]) + t.Shift[k] }
	if n > 2 {
		var gaps []float64 // per period
		for k := 1; k < n; k++ {
			gaps = append(gaps, (place(k)-place(k-1))/float64(t.Index[k]-t.Index[k-1]))
		}
		usual := order.Median(slices.Clone(gaps))
		for k, g := range gaps {
			if off := g - usual; math.Abs(off) > evenSamples {
				addDropout(t, -1, t.Cut[k+1], finding.Text("repeat %d comes %+.1f samples off the even spacing: samples were lost or repeated before it", t.Index[k+1]+1, off), off, "samples")
				return
			}
		}
	}
	if n == 2 && t.X[take.Loopback] != nil && t.Bench.Passing != nil && math.Abs(t.Rec.DriftPPM) > clockSurePPM {
		d, se, ok := clock.OfSweep(t, take.Loopback)
		if apart := t.Rec.DriftPPM - d*1e6; ok && math.Abs(apart) > clockApartPPM+5*se*1e6 {
			off := apart * 1e-6 * float64(t.Bench.Period)
			addDropout(t, -1, t.Cut[1], finding.Text("the second repeat comes %+.0f samples off where the clock of the sweep puts it: samples were lost or repeated between them", off), off, "samples")
		}
	}
}

// Limits of the search for lost, repeated and blanked samples. Common
// practice, no source; docs/developing/quality.md shows what they find.
const (
	clickSize     = 0.01 // the same in one microphone alone: real rooms have smaller ones
	meetSamples   = 8    // within which a fault meets itself in another channel
	evenSamples   = 0.35 // that a repeat may be off the even spacing
	clockSurePPM  = 150  // from which two estimates of the clock are compared
	clockApartPPM = 50   // by which they may differ, beyond their errors
)
