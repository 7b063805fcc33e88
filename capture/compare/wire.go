package compare

import (
	"fmt"
	"math"

	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/study"
)

// Limits of what stands beside the levels. Common practice, no source.
const (
	loopLeastDB     = 0.5 // level of a loopback against the study's
	loopOver        = 8.0 // … over its usual scatter
	harmonicLeastDB = 10.0
	harmonicOver    = 6.0
	harmonicFloorDB = -50.0 // below it a harmonic is no matter
)

// robust is a standard deviation about zero from the median of the squares.
func robust(x []float64) float64 {
	s := make([]float64, len(x))
	for i, v := range x {
		s[i] = v * v
	}
	return math.Sqrt(order.Median(s) / 0.455) // 0.455 is the median of χ² with one degree of freedom
}

// sameContent finds recordings that hold the same sound: no two seatings give
// the same noise.
func sameContent(out [][]finding.Finding, rows []study.Seating, recs []Traits, judge func(int) bool) map[int]bool {
	at := map[[32]byte][]int{}
	for i, r := range recs {
		if r.Content != ([32]byte{}) {
			at[r.Content] = append(at[r.Content], i)
		}
	}
	same := map[int]bool{}
	for i, r := range recs {
		for _, j := range at[r.Content] {
			if j == i || same[i] {
				continue
			}
			same[i] = true
			if judge(i) {
				other := rows[j].File
				if rows[j].Row > 0 {
					other += fmt.Sprintf(" (row %d)", rows[j].Row)
				}
				out[i] = append(out[i], finding.New(finding.SameContent,
					fmt.Sprintf("it holds the same sound as %s: one of the two was copied over the other", other)))
			}
		}
	}
	return same
}

// compareLoopbacks names recordings whose loopback is not as loud as in the
// others.
func compareLoopbacks(out [][]finding.Finding, recs []Traits, judge func(int) bool) map[int]bool {
	var levels []float64
	for _, r := range recs {
		if r.Loopback {
			levels = append(levels, r.LoopbackDB)
		}
	}
	named := map[int]bool{}
	if len(levels) < 2*groupLeast {
		return named
	}
	usual := order.Median(levels)
	for i := range levels {
		levels[i] -= usual
	}
	limit := max(loopLeastDB, loopOver*robust(levels))
	for i, r := range recs {
		if off := r.LoopbackDB - usual; r.Loopback && math.Abs(off) > limit {
			named[i] = true
			if judge(i) {
				out[i] = append(out[i], finding.New(finding.GainChanged,
					finding.Text("the loopback is %+.2f dB from that of the other recordings: the level of the player or the gain of the recorder is not as it was, and levels may be off by as much", off)).
					On("loopback").Of(off, "dB"))
			}
		}
	}
	return named
}

// compareHarmonics names ears whose third harmonic stands out of those of the
// others with the same headphone: a limiter or a compressor acts on the tops.
func compareHarmonics(out [][]finding.Finding, rows []study.Seating, recs []Traits, judge func(int) bool) {
	for _, g := range groupsOf(rows, recs, func(r study.Seating) string { return fmt.Sprintf("%q %t %s", r.Model, r.OnFixture(), r.Point) }) {
		for e := range study.Ears {
			var all []float64
			for _, i := range g {
				if h := recs[i].HarmonicDB[e]; !math.IsNaN(h) {
					all = append(all, h)
				}
			}
			if len(all) < 2*groupLeast {
				continue
			}
			usual := order.Median(all)
			for k := range all {
				all[k] -= usual
			}
			limit := max(harmonicLeastDB, harmonicOver*robust(all))
			for _, i := range g {
				if h := recs[i].HarmonicDB[e]; judge(i) && h > harmonicFloorDB && h-usual > limit {
					out[i] = append(out[i], finding.New(finding.Compression,
						finding.Text("the third harmonic of the %s ear is at %.0f dB, %.0f dB above that of the other recordings with this headphone", study.Ear(e), h, h-usual)).
						On(study.Ear(e).String()).Of(h-usual, "dB"))
				}
			}
		}
	}
}
