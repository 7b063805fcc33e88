package fitcorr

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// fixturePlace is where a fixture seating sits, with what is told of it.
type fixturePlace struct {
	offset Offset
	pos    [headsetDim]float64
	cov    *mat.SymDense
}

// fixture places one fixture seating by its levels.
func (pl *placer) fixture(s Seating, index int, leaks [2]Leak, inflate float64) (fixturePlace, bool) {
	obs := observe(s, index, pl.models)
	p, ok := pl.place(obs, fixturePrior())
	if !ok {
		return fixturePlace{}, false
	}
	o := Offset{ID: s.ID, Subject: s.Subject, Seating: s.Number, Survey: s.Displaced(), Leak: leaks}
	scale := math.Max(1, inflate)
	df := placeDF(pl.models)
	o.Headset.DF, o.Ears[0].DF, o.Ears[1].DF = df, df, df
	for e := range pl.models {
		o.GainDB[e] = leaks[e].GainDB
		o.MisfitP[e] = 1
		if !obs.present[e] {
			continue
		}
		o.MisfitP[e] = chiTail(p.misfit[e], p.dof[e])
		// What no movement explains makes the position the less certain (Birge's ratio).
		if ratio := p.misfit[e] / math.Max(1, p.dof[e]); ratio > doubtFar {
			scale = math.Max(scale, ratio)
		}
	}
	p.cov.ScaleSym(scale, p.cov)
	f := fixturePlace{o, p.pos, p.cov}
	f.estimate()
	return f, true
}

// read adds the position that was read at the seating, if it was.
func (f *fixturePlace) read(s Seating, mark FrozenMark) {
	if !mark.known() || s.Read == nil {
		return
	}
	mark.fuse(s, &f.pos, f.cov)
	f.estimate()
}

// estimate sets the estimates of the offset to the position.
func (f *fixturePlace) estimate() {
	df := f.offset.Headset.DF
	o := &f.offset
	o.Ears, o.Headset = estimates(f.pos, f.cov, fixturePrior().cov)
	o.Headset.DF, o.Ears[0].DF, o.Ears[1].DF = df, df, df
}
