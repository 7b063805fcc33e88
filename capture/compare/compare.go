// Package compare judges recordings by comparison with the others of a study. It
// knows their responses and the sheet, not their samples.
package compare

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/study"
)

// Limits of the comparison of recordings with each other. Common practice, no
// source; docs/developing/quality.md shows how often they err.
const (
	groupFloorDB   = 0.3  // least scatter of a difference of ears between seatings
	swapStrength   = 2.0  // power of a group's own difference over its scatter
	swapSure       = 4.0  // the same, from which a swap is refused
	swapLikeness   = -0.5 // likeness to the others: 1 the same way round, −1 the other
	swapFit        = 4.0  // misfit as labelled over misfit the other way round
	polarityLeast  = 0.3  // |Polarity| from which the sign is told
	clockOtherPPM  = 25   // from the usual clock of the study
	clockSureSEPPM = 5    // estimates that are less sure are not compared
	polarityAgreed = 0.8  // share of a group that has the same sign
)

// Seatings finds what one recording cannot show by itself: left and
// right exchanged, and both microphones of opposite polarity. rows and traits (TraitsOf)
// are as long as each other and are only read; a recording is compared with those of the same model,
// subject and point, with those of the same subject and point, and with all of
// the same point. It returns the findings of each recording, in their order;
// recordings that are refused already are left out of the comparison. jobs is that of workers.All.
//
// Exchanged ears are told by the difference of left and right as it was
// recorded, before the microphones are allowed for: it changes its sign when
// the channels are exchanged, and it is a person's own, and the microphones'.
func Seatings(rows []study.Seating, traits []Traits, jobs int) [][]finding.Finding {
	return compareTraits(rows, traits, jobs, func(int) bool { return true })
}

// With finds what Seatings would find about one more recording
// of a study whose rows and traits are given; they are only read.
func With(rows []study.Seating, traits []Traits, row study.Seating, own Traits, jobs int) []finding.Finding {
	last := len(rows)
	rows, traits = append(slices.Clip(rows), row), append(slices.Clip(traits), own)
	return compareTraits(rows, traits, jobs, func(i int) bool { return i == last })[last]
}

// compareTraits compares the recordings that judge names with all others.
func compareTraits(rows []study.Seating, recs []Traits, jobs int, judge func(i int) bool) [][]finding.Finding {
	out := make([][]finding.Finding, len(rows))
	differ := make([][]float64, len(recs))
	for i, r := range recs {
		differ[i] = r.EarsDB
	}
	type level struct {
		key  func(study.Seating) string
		what string
	}
	levels := []level{
		{func(r study.Seating) string {
			return fmt.Sprintf("%q %q %q %s", r.Model, r.Subject, r.Loudspeaker, r.Point)
		}, "the other seatings of this model on the same subject"},
		{func(r study.Seating) string {
			return fmt.Sprintf("%t %q %q %s", r.Model == "", r.Subject, r.Loudspeaker, r.Point)
		}, "the other recordings of the same subject"},
		{func(r study.Seating) string { return fmt.Sprintf("%t %q %s", r.Model == "", r.Loudspeaker, r.Point) }, "the other recordings of the study"},
	}
	usual := make([]bool, len(rows)) // at a finer level: the same way round as the others
	for _, l := range levels {
		groups := groupsOf(rows, recs, l.key)
		scatter := pooledScatter(groups, differ)
		for _, g := range groups {
			for _, i := range g {
				if !judge(i) || finding.Has(out[i], finding.ChannelsSwapped) {
					continue
				}
				like, strength, fit := likeness(differ, scatter, g, i)
				if strength < swapStrength {
					continue
				}
				if like > swapLikeness || fit < swapFit {
					usual[i] = usual[i] || like > -swapLikeness
					continue
				}
				f := finding.New(finding.ChannelsSwapped, finding.Text("left and right are exchanged: the difference of the two ears is that of %s with the sign turned (regression coefficient on theirs %.2f; 1 is the right way round, −1 exchanged)", l.what, like)).
					Of(like, "")
				if usual[i] || strength < swapSure {
					f.Severity = finding.Warning
					f.Message = finding.Text("left and right may be exchanged: the difference of the two ears is opposite to that of %s (regression coefficient on theirs %.2f)", l.what, like)
				}
				out[i] = append(out[i], f)
			}
		}
	}
	comparePolarity(out, rows, recs, levels[2].key, judge)
	compareClocks(out, recs, judge)
	compareLevels(out, rows, recs, jobs, judge)
	compareHarmonics(out, rows, recs, judge)
	return out
}

// compareClocks names recordings whose clock is not that of most others.
func compareClocks(out [][]finding.Finding, recs []Traits, judge func(int) bool) {
	var clocks []float64
	for _, r := range recs {
		if r.Repeats > 0 && r.ClockSEPPM < clockSureSEPPM {
			clocks = append(clocks, r.ClockPPM)
		}
	}
	if len(clocks) < 2*groupLeast {
		return
	}
	usual := order.Median(clocks)
	for i, c := range clocks {
		clocks[i] = math.Abs(c - usual)
	}
	limit := max(clockOtherPPM, 8*1.48*order.Median(clocks))
	for i, r := range recs {
		if off := r.ClockPPM - usual; judge(i) && r.Repeats > 0 && r.ClockSEPPM < clockSureSEPPM && math.Abs(off) > limit && !r.Drift {
			out[i] = append(out[i], finding.New(finding.Drift, finding.Text("the recorder's clock runs %+.0f ppm against playback, in the other recordings about %+.0f ppm; it was allowed for", r.ClockPPM, usual)).
				Of(r.ClockPPM, "ppm").Mended("nothing for these curves; see whether another recorder or player was used, and that it is calibrated too"))
		}
	}
}

// medianOf returns, per band, the median over the members of a group but one.
func medianOf(values [][]float64, group []int, but int) []float64 {
	out := make([]float64, band.Thirds)
	var at []float64
	for b := range out {
		at = at[:0]
		for _, i := range group {
			if v := values[i][b]; i != but && !math.IsNaN(v) {
				at = append(at, v)
			}
		}
		out[b] = order.Median(at)
	}
	return out
}

// pooledScatter returns, per band, the variance of a member about its group:
// from the median of the squares, so that a few strangers do not widen it.
func pooledScatter(groups [][]int, values [][]float64) []float64 {
	out := make([]float64, band.Thirds)
	squares := make([][]float64, band.Thirds)
	for _, g := range groups {
		centre := medianOf(values, g, -1)
		for _, i := range g {
			for b, c := range centre {
				if d := values[i][b] - c; !math.IsNaN(d) {
					squares[b] = append(squares[b], d*d*float64(len(g))/float64(len(g)-1))
				}
			}
		}
	}
	for b, s := range squares {
		out[b] = groupFloorDB * groupFloorDB
		if len(s) > 0 {
			out[b] = max(out[b], order.Median(s)/0.455) // 0.455 is the median of χ² with one degree of freedom
		}
	}
	return out
}

// likeness compares member i of a group with the median of the others: the
// regression of its difference on theirs, the power of theirs over the
// scatter, and how much better its own fits with the sign turned.
func likeness(values [][]float64, scatter []float64, group []int, i int) (like, strength, fit float64) {
	var cross, power, as, turned float64
	n := 0
	for b, m := range medianOf(values, group, i) {
		a := values[i][b]
		if math.IsNaN(a) || math.IsNaN(m) {
			continue
		}
		cross += a * m / scatter[b]
		power += m * m / scatter[b]
		as += (a - m) * (a - m) / scatter[b]
		turned += (a + m) * (a + m) / scatter[b]
		n++
	}
	if n < 6 || power == 0 {
		return 1, 0, 0
	}
	return cross / power, power / float64(n), as / max(turned, 1e-9)
}

// comparePolarity names ears whose polarity is not that of most of their group.
func comparePolarity(out [][]finding.Finding, rows []study.Seating, recs []Traits, key func(study.Seating) string, judge func(int) bool) {
	for _, g := range groupsOf(rows, recs, key) {
		for e := range study.Ears {
			up, told := 0, 0
			for _, i := range g {
				if p := recs[i].Polarity[e]; math.Abs(p) >= polarityLeast {
					told++
					if p > 0 {
						up++
					}
				}
			}
			sign := 1.0
			if 2*up < told {
				up, sign = told-up, -1
			}
			if told < groupLeast || float64(up) < polarityAgreed*float64(told) {
				continue
			}
			for _, i := range g {
				p := recs[i].Polarity[e]
				if !judge(i) || sign*p > -polarityLeast || recs[i].Inversion {
					continue
				}
				out[i] = append(out[i], finding.New(finding.Polarity, fmt.Sprintf("the %s ear has the opposite polarity of %d of the %d recordings of the study that tell it", study.Ear(e), up, told)).
					On(study.Ear(e).String()).Of(p, ""))
			}
		}
	}
}
