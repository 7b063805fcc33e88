package position

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// placeDF is the degrees of freedom of a fixture seating's interval: its
// variance is the scatter that the survey's rows show about a surface of a
// level and three slopes.
func placeDF(models *[2]placing.Ear) float64 {
	rows := 0
	for e := range models {
		if models[e].Survey != nil {
			rows = max(rows, len(models[e].Survey.At))
		}
	}
	return math.Max(3, float64(rows-4))
}

// FixtureSeating is where a fixture seating sits, with what is told of it. The zero value
// knows nothing.
type FixtureSeating struct {
	Offset    Offset
	Posterior placing.Posterior
	Pos       [placing.HeadsetDim]float64 // mean of the posterior: mm, mm, degrees, twice
	Cov       *mat.SymDense               // its covariance, HeadsetDim square, mm and degrees; nil when it could not be placed
	// MarkVariance is the part of it, per axis, mm², from the mark between two
	// surveys, before any reading; zero unless Shift was called.
	MarkVariance [placing.ReadDim]float64
	Fit          placing.Fit
	modes        []placing.Mode // that the posterior is made of
	doubt        float64        // factor that its temper has at least, for what no movement explains; 0 of none
}

// PlaceFixture places one fixture seating by its levels, dB, whose information is divided
// by temper (Model.Temper). False when too few bands count.
func PlaceFixture(pl *placing.Placer, s seat.Seating, temper placing.Temper) (FixtureSeating, bool) {
	obs := placing.Observe(s, pl.Models)
	modes := pl.Modes(obs, placing.FixturePrior())
	if len(modes) == 0 {
		return FixtureSeating{}, false
	}
	o := Offset{ID: s.ID, Subject: s.Subject, Seating: s.Number, Survey: s.Displaced()}
	o.Headset.DF = placeDF(pl.Models)
	var doubt float64
	for e := range pl.Models {
		o.MisfitP[e] = 1
		if !obs.Present[e] {
			continue
		}
		p := modes[0]
		o.MisfitP[e] = stats.ChiTail(p.Misfit[e], p.Dof[e])
		// What no movement explains makes the position the less certain (Birge's ratio).
		if ratio := p.Misfit[e] / math.Max(1, p.Dof[e]); ratio > DoubtFar {
			doubt = math.Max(doubt, ratio)
		}
	}
	f := FixtureSeating{Offset: o, Posterior: placing.NewPosterior(modes, placing.FixturePrior(), temper.AtLeast(doubt)), Fit: pl.Fit(obs, modes[0]), modes: modes, doubt: doubt}
	f.estimate()
	return f, f.Cov != nil
}

// Sealed puts the seating's seal, which nothing rests on, into its offset.
func (f *FixtureSeating) Sealed(leaks [2]seal.Leak) {
	f.Offset.Leak = leaks
	for e, l := range leaks {
		f.Offset.GainDB[e] = l.GainDB
	}
}

// Read multiplies the position that was read at the seating, if it was, into
// the posterior.
func (f *FixtureSeating) Read(s seat.Seating, mark placing.Mark) {
	if !mark.Known() || s.Read == nil {
		return
	}
	at, variance := mark.PlaceRead(s)
	before := f.Offset.Headset
	f.Posterior, f.Offset.Quarrel = f.Posterior.Read(at, variance, placing.FixturePrior())
	f.estimate()
	// Precisions add: the variance left is (1−g)² of the sound's and g² of the
	// reading's, each with its own degrees of freedom (JCGM 100:2008, G.4.1).
	whole := before.PlaneVariance()
	if g := 1 - f.Offset.Headset.PlaneVariance()/whole; g > 0 && g < 1 && before.DF > 0 && !f.Offset.Quarrel {
		df := stats.PooledDF((1-g)*(1-g)*whole, before.DF, g*(1-g)*whole, mark.DF())
		f.Offset.Headset.DF, f.Offset.Ears[0].DF, f.Offset.Ears[1].DF = df, df, df
	}
}

// estimate sets the estimates of the offset to the moments of the posterior.
func (f *FixtureSeating) estimate() {
	o := &f.Offset
	df := o.Headset.DF
	f.Pos, f.Cov = f.Posterior.Moments()
	if f.Cov == nil {
		return
	}
	o.Ears, o.Headset = placing.Estimates(f.Pos, f.Cov, placing.FixturePrior().Cov)
	o.Headset.DF, o.Ears[0].DF, o.Ears[1].DF = df, df, df
	o.Places = f.Posterior.Places()
}

// A seating whose level no position on that ear explains — a microphone that
// fell out of place, hair in the cup, a folded pinna — must not bend the ear, the
// scatter and the mean of everybody. Its squared residual is held against the
// usual one, a median, of its model and of the listener; far above that, the
// variance of that ear of that seating is raised by the ratio, and it is named.

// DoubtFar is how many times the usual squared residual, a ratio, makes a seating
// doubtful; a sum over some thirty bands hardly reaches twice by chance. Our choice, no
// source.
const DoubtFar = 5.0
