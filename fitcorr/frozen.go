package fitcorr

import (
	"fmt"
	"math"
)

// Frozen is what a study knows, without its recordings: all that is needed to
// judge a new fixture seating. It can be written as JSON or gob.
type Frozen struct {
	Options Options       `json:"options"`
	Models  []FrozenModel `json:"models"`
}

// FrozenModel is what a study knows about one model.
type FrozenModel struct {
	Model   string        `json:"model"`
	Open    bool          `json:"open_back"`
	Survey  *Survey       `json:"survey,omitempty"`
	Scatter [2]SmoothCov  `json:"scatter"`
	Total   [2]SmoothCov  `json:"total"`
	Inflate float64       `json:"inflate"` // of a fixture seating's covariance
	Mark    FrozenMark    `json:"mark,omitzero"`
	Worn    *FrozenTarget `json:"worn,omitempty"`
	Seals   []FrozenCurve `json:"seals,omitempty"` // the low end of other seatings, to judge a seal by
}

// FrozenCurve is one seating as far as its seal needs it.
type FrozenCurve struct {
	ID      string   `json:"id"`
	Subject string   `json:"subject"`
	Ears    [2]Curve `json:"ears"`
}

// Check estimates a fixture seating recorded at the blocked entrance and
// judges it against the study's worn mean. It fails when the study never met
// the model, when the seating is not a blocked one, or when the study has no
// survey of the model (wrapping ErrNoSurvey). Without a panel it returns the
// offset and an undetermined verdict that says so.
func (f Frozen) Check(s Seating) (Offset, Verdict, error) {
	var fm *FrozenModel
	for i := range f.Models {
		if f.Models[i].Model == s.Model {
			fm = &f.Models[i]
		}
	}
	if fm == nil {
		return Offset{}, Verdict{}, fmt.Errorf("the study holds no model %q", s.Model)
	}
	if s.Point != blocked {
		return Offset{}, Verdict{}, fmt.Errorf("seating %s was recorded at the %s point; a check needs the blocked entrance", s.ID, s.Point)
	}
	if fm.Survey == nil {
		return Offset{}, Verdict{}, fmt.Errorf("model %s: %w; survey the model on the fixture first", s.Model, ErrNoSurvey)
	}
	models := fm.earModels()
	leaks := fm.leaksWith(s, f.Options)
	p, ok := newPlacer(&models).fixture(s, 0, leaks[s.ID], fm.Inflate)
	if !ok {
		return Offset{}, Verdict{}, fmt.Errorf("seating %s: too few bands count to estimate a position", s.ID)
	}
	if s.Read != nil {
		if !fm.Mark.known() {
			return Offset{}, Verdict{}, fmt.Errorf("seating %s: a read position cannot be used: the study holds no readings of %s on the fixture to compare with; leave it out", s.ID, s.Model)
		}
		gap, variance := fm.Mark.readGap(s, p.pos, p.cov)
		for a := range gap {
			if math.Abs(gap[a]) > readGross*math.Sqrt(variance[a]) {
				return Offset{}, Verdict{}, fmt.Errorf("seating %s: the read position is %.0f mm from where the levels place the headphone: read it again, or leave it out", s.ID, math.Abs(gap[a]))
			}
		}
		p.read(s, fm.Mark)
	}
	if fm.Worn == nil {
		return p.offset, Verdict{ID: p.offset.ID, Seating: p.offset.Seating, Outcome: Undetermined,
			Settle: []string{settlePanel}}, nil
	}
	v := judge(p, fm.Worn, fm.Open, f.Options)
	if v.Outcome == Undetermined && fm.Mark.known() && s.Read == nil {
		v.Settle = append([]string{"its position read with a ruler"}, v.Settle...)
	}
	return p.offset, v, nil
}

const settlePanel = "worn seatings: without a panel there is no worn mean to compare with"

func (fm *FrozenModel) earModels() (out [2]earModel) {
	bands := newPositionBands()
	for e := range out {
		out[e].bands = bands
		if fm.Survey.Ears[e].Known() {
			out[e].survey = &fm.Survey.Ears[e]
			out[e].scatter = fm.Scatter[e].matrix(bands)
			out[e].total = fm.Total[e].matrix(bands)
		}
	}
	return out
}

// leaksWith judges the seal of s among the study's own seatings.
func (fm *FrozenModel) leaksWith(s Seating, opt Options) map[string][2]Leak {
	group := make([]Seating, 0, len(fm.Seals)+1)
	for _, c := range fm.Seals {
		if c.ID != s.ID {
			group = append(group, Seating{ID: c.ID, Model: fm.Model, Subject: c.Subject, Point: blocked, Ears: c.Ears})
		}
	}
	leaks, _ := Leaks(append(group, s), opt)
	return leaks
}

// frozenSeals is how many seatings are kept to judge a seal by.
const frozenSeals = 12

// sealCurves keeps the low end of ordinary seatings, evenly picked.
func sealCurves(ss []Seating) []FrozenCurve {
	var ordinary []Seating
	for _, s := range ss {
		if !s.Displaced() && s.Point == blocked {
			ordinary = append(ordinary, s)
		}
	}
	n := min(frozenSeals, len(ordinary))
	out := make([]FrozenCurve, n)
	for i := range out {
		s := ordinary[i*len(ordinary)/n]
		out[i] = FrozenCurve{ID: s.ID, Subject: s.Subject}
		for e, c := range s.Ears {
			k := min(leakBands, len(c.LevelDB), len(c.StdErrDB), len(c.Valid))
			out[i].Ears[e] = Curve{LevelDB: c.LevelDB[:k:k], StdErrDB: c.StdErrDB[:k:k], Valid: c.Valid[:k:k]}
		}
	}
	return out
}
