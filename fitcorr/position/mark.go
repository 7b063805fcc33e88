package position

import (
	"asworn/fitcorr/placing"
	"asworn/fitcorr/stats"
)

// MarkError is by how much the marked position of the survey at the drum lies
// from that of the survey at the blocked entrance, mm forward and up. The
// headphone came off in between, and stops or tape hold it only so well.
type MarkError struct {
	By       [placing.ReadDim]float64 `json:"by"`       // mm
	Variance [placing.ReadDim]float64 `json:"variance"` // mm²
	Read     bool                     `json:"read"`     // readings at both surveys tell it
	Sound    bool                     `json:"sound"`    // the two surveys' levels do; where neither does it is 0 with what the lab states
}

// MarkBetween returns the mark's error from its stated standard uncertainty, mm
// per axis, and from what was read on the fixture at both surveys: the same point
// of the cup against the same entrance, so that the readings at the two marked
// positions differ by the mark's error alone.
func MarkBetween(blocked, drum placing.Mark, stated float64) MarkError {
	e := MarkError{Variance: [placing.ReadDim]float64{stated * stated, stated * stated}}
	if !blocked.Known() || !drum.Known() {
		return e
	}
	e.Read = true
	for a := range e.By {
		// What a headband turns on people is in both and cancels.
		v := blocked.Variance[a] + drum.Variance[a] - 2*placing.ReadTurnMM*placing.ReadTurnMM
		gain := e.Variance[a] / (e.Variance[a] + v)
		e.By[a] = gain * (drum.At[a] - blocked.At[a])
		e.Variance[a] *= 1 - gain
	}
	return e
}

// Shift refers a place that was found about the drum survey's mark to that of the
// blocked survey: both cups move alike.
func (f *FixtureSeating) Shift(e MarkError) {
	out := make(placing.Posterior, len(f.Posterior))
	for i, part := range f.Posterior {
		cov := placing.HeadsetCov([3]float64{}, [3]float64{})
		cov.CopySym(part.Cov)
		for a := range e.By {
			part.Pos[a] += e.By[a]
			part.Pos[3+a] += e.By[a]
			for _, c := range [][2]int{{a, a}, {3 + a, 3 + a}, {a, 3 + a}} {
				stats.AddSym(cov, c[0], c[1], e.Variance[a])
			}
		}
		part.Cov = cov
		out[i] = part
	}
	f.Posterior, f.MarkVariance = out, e.Variance
	f.estimate()
}
