package simulate

import (
	"asworn/capture"
	"asworn/capture/band"
)

// Aim is what the curve of a fixture seating should be corrected to: the level
// per kept band on the fixture's own ear, without noise, the cup sitting where
// the panel wears that model on average, sealed as this panel's ears are on
// average (mean over listeners of the mean over their seatings of the level
// lost, in dB). Cushion, lean, microphone and gain are at their nominal values.
type Aim struct {
	study  *Study
	grid   *BandGrid
	lossDB [][2][]float64 // per model, ear and kept band
}

// NewAim computes what the seatings of a study have in common.
func NewAim(s *Study) *Aim {
	a := &Aim{study: s, grid: NewBandGrid(), lossDB: make([][2][]float64, len(s.Models))}
	for m := range a.lossDB {
		for e := range a.lossDB[m] {
			a.lossDB[m][e] = make([]float64, band.Count)
		}
	}
	d := s.Design
	for _, r := range s.Rows {
		if r.ModelIndex < 0 || !r.Worn() {
			continue
		}
		for e, p := range r.True {
			if p.SlitMM == 0 {
				continue
			}
			sealed := p
			sealed.SlitMM = 0
			tight := a.level(r.ModelIndex, r.SubjectIndex, capture.Ear(e), capture.Blocked, sealed)
			for b, v := range a.level(r.ModelIndex, r.SubjectIndex, capture.Ear(e), capture.Blocked, p) {
				a.lossDB[r.ModelIndex][e][b] += (tight[b] - v) / float64(d.Listeners*d.Seatings)
			}
		}
	}
	return a
}

// level is that of a placement, in dB re 1 Pa/V per kept band.
func (a *Aim) level(model, subject int, e capture.Ear, point capture.Point, p Placement) []float64 {
	row := Row{ModelIndex: model, SubjectIndex: subject}
	row.Point, row.True[e] = point, p
	return a.grid.LevelDB(a.study.Pressure(row, e, &a.grid.Grid))
}

// LevelDB returns the level aimed at.
func (a *Aim) LevelDB(model int, e capture.Ear, point capture.Point) []float64 {
	w := a.study.Target(model)
	p := Placement{Displacement: capture.Displacement{ForwardMM: w[0], UpMM: w[1], RotationDeg: w[2]}}
	out := a.level(model, a.study.Design.Listeners, e, point, p)
	for b := range out {
		out[b] -= a.lossDB[model][e][b]
	}
	return out
}

// ChangeDB returns the change from a fixture seating to what is aimed at that
// its place and seal alone make: cushion, lean, microphone and gain apart.
func (a *Aim) ChangeDB(r Row, e capture.Ear) []float64 {
	t := r.True[e]
	here := Placement{Displacement: t.Displacement, SlitMM: t.SlitMM}
	out := a.LevelDB(r.ModelIndex, e, capture.Blocked)
	for b, v := range a.level(r.ModelIndex, r.SubjectIndex, e, capture.Blocked, here) {
		out[b] -= v
	}
	return out
}
