package main

import (
	"math"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/stats"
)

// The estimated quantities, in the order of the table.
const (
	fixtureBlocked = iota
	fixtureDrum
	fixtureBeyond // either point, outside the survey
	fixtureCup    // either point
	wornHeadset
	wornCup
	panelMean // of this panel's seatings
	panelCup
	peopleMean // of the population that the panel came from
	quantities
)

var quantityNames = [quantities]string{
	"fixture seating at the blocked entrance", "fixture seating at the drum", "fixture seating beyond the survey", "fixture seating, each cup",
	"worn seating", "worn seating, each cup",
	"worn mean of this panel", "worn mean of this panel, each cup", "worn mean of people",
}

// trial is one estimate on one axis beside its truth.
type trial struct {
	err            float64 // estimate − truth, mm or degrees
	covered, gross bool
	seen           bool
}

// verdictTrial is one verdict on a fixture seating a known distance from the worn mean.
type verdictTrial struct {
	distance         float64
	cup              float64 // of the farther cup from where the panel wears that cup on average, mm
	outcome, headset fitcorr.Outcome
}

// far and near are the seatings of which `use` and `move` are wrong: the headset
// 6 mm off or a cup 4 mm; the headset within 1 mm and both cups within the tolerance.
func (v verdictTrial) far() bool  { return v.distance >= 6-1e-6 || v.cup >= 4 }
func (v verdictTrial) near() bool { return v.distance <= 1 && v.cup < 3 }

// wrong reports a verdict that the method's bars forbid.
func (v verdictTrial) wrong() bool {
	return v.outcome == fitcorr.Use && v.far() || v.outcome == fitcorr.Move && v.near()
}

// leakTrial is the seal of one ear whose truth loses more than 3 dB at 50 Hz.
type leakTrial struct {
	found    bool    // called a leak
	relative float64 // corner's relative error
	lossErr  float64 // error of the loss at 50 Hz, dB
	covered  bool    // the corner by its stated interval
}

// score is everything one study says about the estimator.
type score struct {
	trials        [quantities][3][]trial
	missing       [quantities]int // not answered; of the fixture's within the reach of its survey
	verdicts      []verdictTrial
	noVerdict     int
	leaks         []leakTrial
	panelLeaks    []trial // mean loss at 50 Hz of everybody who might have been on the panel, per ear
	tight, called int     // ears that lose less than 0.3 dB at 50 Hz; those called a leak of more than 1 dB
	corrections   []correctionTrial
	curves        []curveTrial
	alike         float64 // of surfaces.alike: how well earlier models foretell the new one
	failed        error
}

// surveyReachMM is how far surveys go from the mark; farther off a seating is extrapolated, and
// may be refused, as nothing is known there.
const surveyReachMM = 8.0

// judge compares an analysis with the truth of its study.
func judge(s *simulate.Study, a fitcorr.Analysis, confidence float64) score {
	var out score
	byModel := map[string]fitcorr.ModelAnalysis{}
	for _, m := range a.Models {
		byModel[m.Model] = m
	}
	cups := cupMeans(s)
	for m, name := range s.Models {
		ma := byModel[name]
		offsets := map[string]fitcorr.Offset{}
		for _, o := range ma.Offsets {
			offsets[o.ID] = o
		}
		verdicts := map[string]fitcorr.Verdict{}
		for _, v := range ma.Verdicts {
			verdicts[v.ID] = v
		}
		for _, r := range s.Rows {
			if r.ModelIndex != m || r.Displaced() || r.Point == capture.Drum && !s.Design.Apart {
				continue
			}
			o, ok := offsets[r.File]
			out.offset(s, r, o, ok, confidence)
			if r.OnFixture() {
				out.verdict(r, verdicts, s.Target(m), cups[m])
			}
		}
		if ma.Worn == nil {
			out.missing[peopleMean]++
			out.missing[panelMean]++
			out.missing[panelCup] += 2
			continue
		}
		out.add(peopleMean, ma.Worn.People, s.Worn[m].Mean, confidence)
		out.add(panelMean, ma.Worn.Mean, s.Worn[m].PanelMean, confidence)
		for e := range 2 {
			out.add(panelCup, ma.Worn.EarMean[e], cups[m][e], confidence)
			if !s.Open[m] {
				out.panelLeak(ma.Worn, e, s.PeopleLossDB(m, capture.Ear(e)), confidence)
			}
		}
	}
	return out
}

// panelLeak scores what the panel says of the loss at 50 Hz, as the verdict uses it.
func (out *score) panelLeak(w *fitcorr.Worn, e int, truth, confidence float64) {
	half := stats.StudentQuantile((1+confidence)/2, w.LeakDF[e]) * w.LeakLossSE[e][1]
	err := w.LeakLossDB[e][1] - truth
	out.panelLeaks = append(out.panelLeaks, trial{err: err, covered: math.Abs(err) <= half})
}

// cupMeans returns, per model, where the panel wears each cup on average.
func cupMeans(s *simulate.Study) [][2][3]float64 {
	out, n := make([][2][3]float64, len(s.Models)), make([]float64, len(s.Models))
	for _, r := range s.Rows {
		if r.ModelIndex >= 0 && r.Worn() {
			n[r.ModelIndex]++
			for e, p := range r.True {
				for a, v := range p.Vector() {
					out[r.ModelIndex][e][a] += v
				}
			}
		}
	}
	for m := range out {
		for e := range 2 {
			for a := range 3 {
				out[m][e][a] /= max(n[m], 1)
			}
		}
	}
	return out
}

// offset scores one ordinary seating.
func (out *score) offset(s *simulate.Study, r simulate.Row, o fitcorr.Offset, ok bool, confidence float64) {
	headset, ear := wornHeadset, wornCup
	if r.OnFixture() {
		ear = fixtureCup
		h := r.Headset()
		switch {
		case math.Hypot(h[0], h[1]) > surveyReachMM:
			headset = fixtureBeyond
		case r.Point == capture.Drum:
			headset = fixtureDrum
		default:
			headset = fixtureBlocked
		}
	}
	if !ok {
		if headset != fixtureBeyond {
			out.missing[headset]++
			out.missing[ear] += 2
		}
		return
	}
	out.add(headset, o.Headset, r.Headset(), confidence)
	for e, p := range r.True {
		out.add(ear, o.Ears[e], p.Vector(), confidence)
		if s.Open[r.ModelIndex] {
			continue
		}
		truth := s.World.Seal(r.ModelIndex, r.SubjectIndex, capture.Ear(e), p)
		got := o.Leak[e]
		switch {
		case truth.LossDB[1] > 3:
			out.leaks = append(out.leaks, leakTrial{
				found: got.Class == seal.Leaking, relative: got.CornerHz/truth.CornerHz - 1, lossErr: got.LossDB[1] - truth.LossDB[1],
				covered: math.Abs(got.CornerHz-truth.CornerHz) <= stats.StudentQuantile((1+confidence)/2, 0)*got.CornerSE,
			})
		case truth.LossDB[1] < 0.3:
			out.tight++
			if got.Class == seal.Leaking && got.LossDB[1] > 1 {
				out.called++
			}
		}
	}
}

func (out *score) verdict(r simulate.Row, verdicts map[string]fitcorr.Verdict, mean [3]float64, cups [2][3]float64) {
	v, ok := verdicts[r.File]
	if !ok {
		out.noVerdict++
		return
	}
	t := trialOf(r, v.Outcome, mean, cups)
	t.headset = v.Headset.Outcome
	out.verdicts = append(out.verdicts, t)
}

// trialOf is a verdict on a fixture seating beside the truth; mean and cups are where
// the panel wears the headset and each cup on average.
func trialOf(r simulate.Row, outcome fitcorr.Outcome, mean [3]float64, cups [2][3]float64) verdictTrial {
	h := r.Headset()
	far := 0.0
	for e, p := range r.True {
		at := p.Vector()
		far = max(far, math.Hypot(at[0]-cups[e][0], at[1]-cups[e][1]))
	}
	return verdictTrial{distance: math.Hypot(h[0]-mean[0], h[1]-mean[1]), cup: far, outcome: outcome}
}

func (out *score) add(q int, e fitcorr.Estimate, truth [3]float64, confidence float64) {
	quantile := stats.StudentQuantile((1+confidence)/2, e.DF)
	for a := range 3 {
		sd := math.Sqrt(e.Cov[a][a])
		err := e.Value[a] - truth[a]
		out.trials[q][a] = append(out.trials[q][a], trial{
			err:     err,
			covered: math.Abs(err) <= quantile*sd,
			gross:   e.Value[a]*truth[a] < 0 && math.Abs(e.Value[a]) > 2*sd,
			seen:    e.Seen[a],
		})
	}
}

// correctionTrial is one curve of a fixture seating before and after its
// correction, against what it should be at the true worn mean.
type correctionTrial struct {
	distance float64 // of the seating from the worn mean, mm
	applied  bool    // in any band from 1 kHz to 10 kHz
	anywhere bool    // in any band
	// RMS distance to the truth, dB: 1 kHz to 10 kHz, and over the bands corrected.
	whole, there [2]float64
	inside, all  int // corrected bands whose true change lies within the stated interval
}

// curveTrial counts the bands of a final curve.
type curveTrial struct{ inside, all int }
