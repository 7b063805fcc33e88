// Package sample makes results for the tests of the packages beside it.
package sample

import (
	"fmt"
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/fitcorr/correct"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/seal"
	"asworn/report"
	"asworn/report/text"
)

// Results returns a value with plausible curves and every part
// filled: two closed models and an open one, listeners who put each on five
// times, six fixture seatings, a survey, a refused file and a stand-out. It
// tests what report makes of results, not how they come about.
func Results() report.Results {
	g := &generator{rng: rand.New(rand.NewPCG(7, 7))}
	r := report.Results{
		Schema: report.Schema, Title: "Closed-back comparison, spring", Fixture: "fixture 1", Coupler: "IEC 60318-4",
		LevelUnit: "dB re 1 Pa/V", Options: report.Options{Limits: study.Limits{MaxOffsetMM: 3, Confidence: 0.95}},
		Findings: []string{"No calibrator recording for the right microphone: its level is relative."},
	}
	for _, b := range band.All() {
		r.BandsHz = append(r.BandsHz, b.Mid)
		r.ReferenceDB = append(r.ReferenceDB, 12*math.Exp(-sq(math.Log(b.Mid/2900)/0.5)))
	}
	for _, b := range band.AllThirds() {
		r.ThirdsHz = append(r.ThirdsHz, b.Mid)
	}
	g.r = &r
	for i, name := range []string{"Model A", "Model B", "Model C"} {
		g.model(name, i == 2, float64(i))
	}
	for i := range r.Recordings {
		r.Recordings[i].Row = i + 2
	}
	g.blemishes()
	r.Analysis.Cannot = []string{"The fixture's rotation is seen by the left ear's survey only."}
	return r
}

type generator struct {
	rng *rand.Rand
	r   *report.Results
}

func sq(x float64) float64 { return x * x }

// curve is a headphone-like level curve moved by d, with a leak.
func (g *generator) curve(kind float64, d [3]float64, leakHz float64, ear, point float64) fitcorr.Curve {
	var c fitcorr.Curve
	for _, b := range band.All() {
		f := b.Mid
		l := 94 + 3*math.Exp(-sq(math.Log(f/90)/0.7)) + 9*math.Exp(-sq(math.Log(f/(2800+200*kind))/0.45)) -
			(6+0.5*d[0])*math.Exp(-sq(math.Log(f/(8000+150*d[1]))/0.15)) - 10*math.Log10(1+sq(sq(f/15000))) +
			0.12*d[2]*math.Log(f/1000) + ear
		l -= 10 * math.Log10(1+sq(leakHz/f))
		l += point * 10 * math.Exp(-sq(math.Log(f/3000)/0.4))
		c.LevelDB = append(c.LevelDB, l+0.15*g.rng.NormFloat64())
		c.StdErrDB = append(c.StdErrDB, 0.15)
		c.Valid = append(c.Valid, f > 25 && f < 19000)
	}
	return c
}

func (g *generator) record(model, subject string, number int, p capture.Point, d [3]float64, leakHz float64, survey *capture.Displacement, kind float64) string {
	file := fmt.Sprintf("recordings/%s/%s-%d-%s.wav", text.Slug(model), subject, number, p)
	rec := report.Recording{Seating: capture.Seating{File: file, Model: model, Unit: "1", Subject: subject, Point: p, Number: number, Survey: survey},
		Usable: true, Repeats: 2, Used: 2, DriftPPM: 12.5, SoundSeconds: 6, SweepLevelA: [2]float64{78.2, 78.4}}
	pt := 0.0
	if p == capture.Drum {
		pt = 1
	}
	for e := range rec.Ears {
		rec.Ears[e] = g.curve(kind, d, leakHz, float64(e)*0.3, pt)
		rec.NoiseDB[e] = make([]float64, band.Count)
		for i := range rec.NoiseDB[e] {
			rec.NoiseDB[e][i] = 40 - 0.05*float64(i)
		}
	}
	g.r.Recordings = append(g.r.Recordings, rec)
	return file
}

// Estimate has the value v and the standard deviation sd on each axis; seenTurn
// is whether rotation is seen.
func Estimate(v [3]float64, sd float64, seenTurn bool) fitcorr.Estimate {
	e := fitcorr.Estimate{Value: v, Seen: [3]bool{true, true, seenTurn}, Confounded: [3]float64{0.6, 0.5, 0.3}}
	for a := range 3 {
		e.Cov[a][a] = sd * sd
	}
	e.Cov[0][1], e.Cov[1][0] = 0.3*sd*sd, 0.3*sd*sd
	return e
}

func (g *generator) offset(m *fitcorr.ModelAnalysis, id, subject string, n int, d [3]float64, sd, leakHz float64) {
	o := fitcorr.Offset{ID: id, Subject: subject, Seating: n, Headset: Estimate(d, sd*0.8, true), MisfitP: [2]float64{0.42, 0.31}}
	for e := range 2 {
		dd := d
		dd[0] += 0.4 * g.rng.NormFloat64()
		o.Ears[e] = Estimate(dd, sd, e == 0)
		o.Leak[e] = fitcorr.Leak{Class: seal.Sealed, CornerHz: leakHz, CornerSE: 2, Damping: 0.8}
		if m.OpenBack {
			o.Leak[e] = fitcorr.Leak{Class: seal.Open}
			continue
		}
		for i, f := range []float64{20, 50, 100} {
			o.Leak[e].LossDB[i] = 10 * math.Log10(1+sq(leakHz/f))
			o.Leak[e].LossSE[i] = 0.3
		}
	}
	m.Offsets = append(m.Offsets, o)
}

func (g *generator) model(name string, open bool, kind float64) {
	m := fitcorr.ModelAnalysis{Model: name, OpenBack: open}
	mean := [3]float64{1.5, -1, 2}
	for l := range 8 {
		who := fmt.Sprintf("L%02d", l+1)
		var own [3]float64
		for a := range 3 {
			own[a] = mean[a] + 1.8*g.rng.NormFloat64()
		}
		for s := range 5 {
			d := own
			for a := range 3 {
				d[a] += 0.9 * g.rng.NormFloat64()
			}
			leak := 8 + 12*g.rng.Float64()
			id := g.record(name, who, s+1, capture.Blocked, d, leak, nil, kind)
			g.r.Recordings[len(g.r.Recordings)-1].Read = &capture.Reading{ForwardMM: d[0] - 22, UpMM: d[1] + 30}
			g.offset(&m, id, who, s+1, d, 1.4, leak)
		}
	}
	m.Worn = &fitcorr.Worn{Listeners: 8, Seatings: 40, Mean: Estimate(mean, 0.7, true), People: Estimate([3]float64{1.2, -0.8, 1.6}, 0.9, true),
		EarMean:   [2]fitcorr.Estimate{Estimate(mean, 0.8, true), Estimate(mean, 0.8, false)},
		BetweenSD: [3]float64{1.8, 1.6, 2}, BetweenSE: [3]float64{0.5, 0.4, 0.6},
		WithinSD: [3]float64{0.9, 0.9, 1.1}, WithinSE: [3]float64{0.1, 0.1, 0.15},
		Separation: []panel.Separation{panel.ByReadings, panel.ByBareEars, panel.BySharedPanel, panel.ByPrior},
		Readings:   &fitcorr.Readings{Worn: 39, OnFixture: 21, OneMM: 0.94, LandmarkMM: 0.72},
		LeakLossDB: [2][3]float64{{4, 1.2, 0.3}, {4.2, 1.3, 0.3}}, LeakLossSD: [2][3]float64{{1.5, 0.6, 0.2}, {1.4, 0.5, 0.2}}}
	places := [][3]float64{{1.2, -0.6, 2}, {7.5, 0.2, 2}, {1.8, -1.2, 1.5}, {1.4, -6.5, 8}, {3.6, 0.4, 2}, {1.5, -1, 2}}
	for s, d := range places {
		leak := 10.0
		if s == 5 && !open {
			leak = 90
		}
		id := g.record(name, capture.FixtureSubject, s+1, capture.Blocked, d, leak, nil, kind)
		drum := g.record(name, capture.FixtureSubject, s+1, capture.Drum, d, leak, nil, kind)
		g.offset(&m, id, capture.FixtureSubject, s+1, d, 0.5, leak)
		g.verdict(&m, id, s+1, d, mean, leak)
		g.correction(&m, id, drum, d, mean)
	}
	for i, d := range []capture.Displacement{{}, {ForwardMM: 4}, {ForwardMM: -4}, {UpMM: 4}, {UpMM: -4}, {RotationDeg: 6}} {
		g.record(name, capture.FixtureSubject, 101+i, capture.Blocked, d.Vector(), 10, &d, kind)
	}
	g.survey(&m)
	g.sensitivity(&m)
	g.final(&m)
	if open {
		m.Cannot = append(m.Cannot, "The model is open by design: a leak cannot be told from its own response.")
	}
	g.r.Analysis.Models = append(g.r.Analysis.Models, m)
}

func (g *generator) verdict(m *fitcorr.ModelAnalysis, id string, n int, d, mean [3]float64, leakHz float64) {
	v := fitcorr.Verdict{ID: id, Seating: n, Outcome: fitcorr.Use,
		Nearest: []fitcorr.Likeness{{ID: m.Offsets[n*3].ID, Share: 0.31}, {ID: m.Offsets[n].ID, Share: 0.2}}}
	off := [3]float64{d[0] - mean[0], d[1] - mean[1], d[2] - mean[2]}
	dist := math.Hypot(off[0], off[1])
	switch {
	case dist > 4:
		v.Outcome = fitcorr.Move
	case dist > 1.8:
		v.Outcome = fitcorr.Undetermined
		v.Settle = []fitcorr.Remedy{{Do: "two more seatings of each listener"}, {Do: "a longer survey"}}
	}
	one := func(seen bool) fitcorr.EarVerdict {
		e := fitcorr.EarVerdict{Outcome: v.Outcome, Off: Estimate(off, 0.9, seen), DistanceMM: [3]float64{dist, max(0, dist-1.6), dist + 1.7}}
		if !m.OpenBack {
			x := 10*math.Log10(1+sq(leakHz/50)) - 1.2
			e.Seal, e.LeakExcessDB = fitcorr.SealAsWorn, [3]float64{x, x - 0.7, x + 0.7}
			if x > 2 {
				e.Seal = fitcorr.SealLeaks
			}
		}
		return e
	}
	v.Ears, v.Headset = [2]fitcorr.EarVerdict{one(true), one(false)}, one(true)
	v.Decides, v.DistanceMM = fitcorr.LeftCup, v.Headset.DistanceMM
	m.Verdicts = append(m.Verdicts, v)
}

func (g *generator) correction(m *fitcorr.ModelAnalysis, id, drum string, d, mean [3]float64) {
	for _, ear := range capture.Ears {
		for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
			c := fitcorr.Correction{ID: id, Point: p, Ear: ear, BeforeDB: 1.9, AfterDB: 1.1}
			if p == capture.Drum {
				c.ID = drum
			}
			for _, b := range band.All() {
				c.DeltaDB = append(c.DeltaDB, 0.4*(d[0]-mean[0])*math.Exp(-sq(math.Log(b.Mid/8000)/0.2)))
				c.StdErrDB = append(c.StdErrDB, 0.2)
				c.Applied = append(c.Applied, b.Mid < 12000)
			}
			c.Withheld = "above 12 kHz it did not bring held-out curves closer"
			m.Corrections = append(m.Corrections, c)
		}
	}
}

func (g *generator) survey(m *fitcorr.ModelAnalysis) {
	for e := range m.Survey {
		s := &fitcorr.SurveyReport{Displacements: 13, Method: "second order in forward and up, first in rotation", HeldOutDB: 0.6,
			HeldOutMM: [3]float64{0.5, 0.6, 1.1}, PosteriorSD: [3]float64{0.4, 0.5, 0.9}, Visible: [3]bool{true, true, e == 0},
			Condition: 7.4, PerUnitDB: [3]float64{0.31, 0.28, 0.1}}
		for a := range 3 {
			for _, b := range band.All() {
				s.SlopeDB[a] = append(s.SlopeDB[a], (0.3-0.2*float64(a))*math.Sin(float64(a)+3*math.Log(b.Mid/500))*math.Min(1, b.Mid/4000))
				s.SlopeSE[a] = append(s.SlopeSE[a], 0.04)
			}
		}
		m.Survey[e] = s
	}
}

func (g *generator) sensitivity(m *fitcorr.ModelAnalysis) {
	for _, ear := range capture.Ears {
		s := fitcorr.Sensitivity{Ear: ear, Point: capture.Blocked, Listeners: 8, Worn: 40, OnFixture: 6,
			SummaryDB: [3]float64{2.1, 1.7, 2.9}, SeatingDB: [3]float64{1.1, 0.95, 1.3}}
		for i := range band.Thirds {
			x := 0.4 + 2.2*sq(float64(i)/band.Thirds)
			s.Between = append(s.Between, fitcorr.Component{SD: x, Lower: 0.6 * x, Upper: 1.9 * x})
			s.Within = append(s.Within, fitcorr.Component{SD: 0.6 * x, Lower: 0.5 * x, Upper: 0.75 * x})
			s.Fixture = append(s.Fixture, fitcorr.Component{SD: 0.5 * x, Lower: 0.3 * x, Upper: 1.2 * x})
			s.RepeatabilityDB = append(s.RepeatabilityDB, 0.6*x)
			s.ReproducibilityDB = append(s.ReproducibilityDB, 1.17*x)
			s.BiasDB = append(s.BiasDB, x*math.Sin(float64(i)/3))
			s.BiasSE = append(s.BiasSE, 0.35*x)
			s.PanelValid = append(s.PanelValid, i > 0)
			s.FixtureValid = append(s.FixtureValid, i > 0)
		}
		m.Sensitivity = append(m.Sensitivity, s)
	}
}

func (g *generator) final(m *fitcorr.ModelAnalysis) {
	for _, p := range []capture.Point{capture.Blocked, capture.Drum} {
		for _, ear := range capture.Ears {
			f := fitcorr.FinalCurve{Point: p, Ear: ear, Used: 4, Notes: []string{"the level calibration is not in the interval"}}
			base := g.curve(0, [3]float64{}, 10, 0, 0)
			f.Valid = base.Valid
			for _, l := range base.LevelDB {
				f.LevelDB, f.HalfDB, f.StdErrDB = append(f.LevelDB, l), append(f.HalfDB, 0.9), append(f.StdErrDB, 0.4)
				f.LowDB, f.HighDB, f.SpreadDB = append(f.LowDB, l-0.7), append(f.HighDB, l+0.8), append(f.SpreadDB, 0.5)
			}
			for i, v := range m.Verdicts {
				f.Members = append(f.Members, fitcorr.CurveMember{ID: v.ID, Seating: v.Seating, Used: i%3 != 1, Corrected: i == 3, Why: "sits as worn"})
			}
			for i, name := range []string{"reseating", "correction", "recording noise", "combined"} {
				b := fitcorr.BudgetRow{Source: name, Type: []correct.Evaluation{correct.TypeA, correct.TypeB, correct.TypeA, correct.Combined}[i], DF: make([]float64, band.Thirds)}
				for k := range band.Thirds {
					b.StdDB = append(b.StdDB, 0.1*float64(i+1)*(1+float64(k)/10))
				}
				f.Budget = append(f.Budget, b)
			}
			m.Curves = append(m.Curves, f)
		}
	}
}

func (g *generator) blemishes() {
	rec := g.r.Recordings
	rec[3].Usable = false
	rec[3].Findings = []capture.Finding{{Code: "clipping", Severity: capture.Refusal, Channel: "left", Value: 214, Unit: "samples",
		Message: "left channel clips: 214 samples at full scale", Mend: "lower the recorder's gain by 6 dB and record again"}}
	rec[9].Findings = []capture.Finding{{Code: "mains-hum", Severity: capture.Warning, Channel: "right", Value: -52, Unit: "dB",
		Message: "hum at 50 Hz and 150 Hz, 52 dB below the sweep", Mend: "move the cable away from the supply"}}
	rec[12].Findings = []capture.Finding{{Code: "repeat-dropped", Severity: capture.Note, Value: 1, Message: "repeat 1 of 2 left out: it disagrees from 3.1 s on", Mend: "none needed"}}
	rec[12].Used = 1
	bad := g.r.Recordings[44]
	bad.File, bad.Number, bad.Usable = "recordings/model-a/fixture-7-blocked.wav", 7, false
	bad.Subject, bad.Survey = capture.FixtureSubject, nil
	bad.Findings = []capture.Finding{{Code: "channels-swapped", Severity: capture.Refusal, Message: "left and right are swapped", Mend: "swap the plugs, or the channel numbers in study.toml"}}
	bad.Row = len(rec) + 2
	g.r.Recordings = append(rec, bad)
	g.r.Analysis.StandOuts = []fitcorr.StandOut{
		{ID: rec[2].File, Group: "Model A, L01, blocked", Ear: capture.Left, Band: "high", Distance: 6.4, P: 0.0004, Size: 0.01, Flagged: true, WorstHz: 7943, WorstDB: -5.2},
		{ID: rec[5].File, Group: "Model A, L02, blocked", Ear: capture.Right, Band: "low", Distance: 1.2, P: 0.6, Size: 0.01},
	}
}
