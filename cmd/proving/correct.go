package main

import (
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
)

// The range over which curves are compared as a whole.
const wholeLowHz, wholeHighHz = 1000.0, 10000.0

// correctionTrial is one curve of a fixture seating before and after its
// correction, against what it should be at the true worn mean.
type correctionTrial struct {
	distance float64 // of the seating from the people's mean, mm
	applied  bool    // in any band from 1 kHz to 10 kHz
	anywhere bool    // in any band
	// RMS distance to the truth, dB: 1 kHz to 10 kHz, and over the bands corrected.
	whole, there [2]float64
	inside, all  int // corrected bands whose true change lies within the stated interval
}

// curveTrial counts the bands of a final curve.
type curveTrial struct{ inside, all int }

// correct scores the corrections and final curves of a study; measured are the
// seatings that were analysed, in the order of its rows.
func (out *score) correct(s *simulate.Study, measured []fitcorr.Seating, a fitcorr.Analysis) {
	aim := simulate.NewAim(s)
	for _, ma := range a.Models {
		if m := slices.Index(s.Models, ma.Model); m >= 0 {
			out.correctModel(s, aim, measured, m, ma)
		}
	}
}

func (out *score) correctModel(s *simulate.Study, aim *simulate.Aim, measured []fitcorr.Seating, m int, ma fitcorr.ModelAnalysis) {
	at := map[string]int{}
	for i, r := range s.Rows {
		at[r.File] = i
	}
	target := func(ear string, p capture.Point) []float64 { return aim.LevelDB(m, earOf(ear), p) }
	changes := map[[2]int][]float64{} // blocked and drum share the change
	for _, c := range ma.Corrections {
		i := at[c.ID]
		r, e := s.Rows[i], earOf(c.Ear)
		h, mean := r.Headset(), s.Worn[m].Mean
		key := [2]int{r.Number, int(e)}
		if changes[key] == nil {
			changes[key] = aim.ChangeDB(r, e)
		}
		var quantile float64
		if ma.Worn != nil {
			quantile = studentQuantile(ma.Worn.EarMean[e].DF, 0.975)
		}
		t := compare(c, measured[i].Ears[e], target(c.Ear, c.Point), changes[key], quantile)
		t.distance = math.Hypot(h[0]-mean[0], h[1]-mean[1])
		out.corrections = append(out.corrections, t)
	}
	for _, c := range ma.Curves {
		if c.LevelDB == nil {
			continue
		}
		var t curveTrial
		for b, want := range target(c.Ear, c.Point) {
			if f := band.All()[b].Mid; c.Valid[b] && f >= 50 && f <= wholeHighHz {
				t.all++
				if math.Abs(c.LevelDB[b]-want) <= c.HalfDB[b] {
					t.inside++
				}
			}
		}
		out.curves = append(out.curves, t)
	}
}

func earOf(name string) capture.Ear {
	if name == capture.Right.String() {
		return capture.Right
	}
	return capture.Left
}

// compare holds one correction against the truth.
func compare(c fitcorr.Correction, curve fitcorr.Curve, want, change []float64, quantile float64) correctionTrial {
	var t correctionTrial
	var sq, n [2][2]float64 // whole or where corrected; before and after
	for b, f := range band.All() {
		if !curve.Valid[b] {
			continue
		}
		in := [2]bool{f.Mid >= wholeLowHz && f.Mid <= wholeHighHz, c.Applied[b]}
		t.anywhere = t.anywhere || in[1]
		t.applied = t.applied || in[0] && in[1]
		off := curve.LevelDB[b] - want[b]
		for k, counts := range in {
			for i, v := range [2]float64{off, off + c.DeltaDB[b]} {
				if counts {
					sq[k][i] += v * v
					n[k][i]++
				}
			}
		}
		if c.Applied[b] {
			t.all++
			if math.Abs(change[b]-c.DeltaDB[b]) <= quantile*c.StdErrDB[b] {
				t.inside++
			}
		}
	}
	for i := range 2 {
		t.whole[i] = math.Sqrt(sq[0][i] / max(n[0][i], 1))
		t.there[i] = math.Sqrt(sq[1][i] / max(n[1][i], 1))
	}
	return t
}
