package placing

import (
	"sync"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/survey"
)

// Mode is a local maximum of the density of one seating's position, and what
// the sound says around it. What belongs to an ear that was not recorded is nil or zero.
type Mode struct {
	Pos      [HeadsetDim]float64             // mm, mm, degrees, twice
	Cov      *mat.SymDense                   // HeadsetDim square, mm and degrees: inverse of the information of prior and sound
	sound    float64                         // log likelihood of the levels at Pos, without constants
	gradient [HeadsetDim]float64             // of sound, per mm or degree
	info     [HeadsetDim][HeadsetDim]float64 // J'V⁻¹J: the information of the sound
	log      float64                         // log likelihood and log prior at Pos
	beyond   float64                         // reach.beyond of Pos, mm
	Misfit   [2]float64                      // r'V⁻¹r per ear: χ² of the residual
	Dof      [2]float64                      // its degrees of freedom: bands less three axes, gain and leak tail
	// Curves are per ear J', the slope of the surface, dB per mm, mm, degree, and behind it r: level minus
	// surface, dB; 4 × n.
	Curves [2]*mat.Dense
	Excess [2][]float64 // per ear: variance of the surface over that of the scatter, n
}

// Placer estimates the positions of many seatings against the same survey. It may be used
// by several goroutines.
type Placer struct {
	Models  *[2]Ear
	surface [2]*survey.BandSurface
	half    [2]float64 // of the grid, mm
	at      *survey.Grid
	grid    [2]grid
	reach   reach
	work    sync.Pool // *mat.Dense, of misfit
}

// NewPlacer prepares the surveys of the ears of a model; one without a survey says nothing.
// The covariances are read anew for every seating, so that they may be changed between
// two, not meanwhile.
func NewPlacer(models *[2]Ear) *Placer { return (*Placer)(nil).Next(models) }

// Next is NewPlacer for surveys that have most rows and kernels in common with those that pl was made
// for: quicker, and the same. It is not for several goroutines.
func (pl *Placer) Next(models *[2]Ear) *Placer {
	out := &Placer{Models: models, reach: newReach(models), half: gridHalf(models)}
	if pl != nil && pl.half == out.half {
		out.at = pl.at
	} else {
		out.at = newGrid(out.half)
	}
	for e := range models {
		if m := &models[e]; m.Survey != nil {
			out.surface[e] = m.Survey.On(m.Bands)
			out.grid[e].level, out.grid[e].turn = out.surface[e].Over(out.at)
		}
	}
	return out
}

const (
	// seatingUnknowns are what one ear's levels determine: three axes, gain and leak tail.
	seatingUnknowns = 5
	// sameMode is how many squared standard deviations apart two maxima must lie
	// to be two.
	sameMode = 0.5
)

// Modes returns all local maxima found from the starts of the grid, the most
// probable first, within sameMode of each other only the better. Nil when no ear was
// recorded well enough.
func (pl *Placer) Modes(o Observation, prior Prior) []Mode {
	if !o.Present[0] && !o.Present[1] {
		return nil
	}
	c, ok := pl.newClimber(o, prior)
	if !ok {
		return nil
	}
	var out []Mode
	for _, start := range pl.starts(o, prior) {
		p, ok := c.climb(start)
		if !ok {
			continue
		}
		at := 0
		same := false
		for at < len(out) && out[at].log >= p.log {
			same = same || out[at].near(p)
			at++
		}
		if same {
			continue
		}
		kept := append(out[:at:at], p)
		for _, q := range out[at:] { // those less likely than p
			if !p.near(q) {
				kept = append(kept, q)
			}
		}
		out = kept
	}
	return out
}

// MostLikely returns the most probable mode, or the one that a climb from a start (mm, mm,
// degrees, twice) comes to; a nil start stands for the grid. False when no ear was
// recorded well enough or a covariance has no inverse.
func (pl *Placer) MostLikely(o Observation, prior Prior, start *[HeadsetDim]float64) (Mode, bool) {
	if start == nil {
		if all := pl.Modes(o, prior); len(all) > 0 {
			return all[0], true
		}
		return Mode{}, false
	}
	if !o.Present[0] && !o.Present[1] {
		return Mode{}, false
	}
	if c, ok := pl.newClimber(o, prior); ok {
		return c.climb(*start)
	}
	return Mode{}, false
}

// near reports whether q lies within the uncertainty of p (sameMode).
func (p Mode) near(q Mode) bool {
	var chol mat.Cholesky
	diff := mat.NewVecDense(HeadsetDim, nil)
	for i := range p.Pos {
		diff.SetVec(i, q.Pos[i]-p.Pos[i])
	}
	var x mat.VecDense
	if !chol.Factorize(p.Cov) || chol.SolveVecTo(&x, diff) != nil {
		return false
	}
	return mat.Dot(diff, &x) < sameMode
}
