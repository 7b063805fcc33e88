package fitcorr

import (
	"sync"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
	"asworn/fitcorr/verdict"
)

// Frozen is what a study knows, without its recordings: all that is needed to
// judge a new fixture seating. It can be written as JSON or gob.
type Frozen struct {
	Options seat.Options  `json:"options"`
	Models  []FrozenModel `json:"models"`

	refs []reference // of Shared
}

// Shared is f with what seatings are placed by kept from one to the next, each part
// made when it is first needed. Copies share it.
func (f Frozen) Shared() Frozen {
	f.refs = f.references()
	return f
}

// Warm makes what seatings of a model are placed by on other goroutines, so that it
// is there, or soon, when the first is judged. Of use after Shared only.
func (f Frozen) Warm(model string) {
	for _, r := range f.refs {
		if r.model == model {
			go func() {
				defer func() { _ = recover() }() // it fails again where it is asked for
				r.placer()
			}()
		}
	}
}

// references lists the surveys of the study.
func (f Frozen) references() []reference {
	if f.refs != nil {
		return f.refs
	}
	var out []reference
	for i := range f.Models {
		for _, point := range []capture.Point{capture.Blocked, capture.Drum} {
			if fp := f.Models[i].at(point); fp.Survey != nil {
				out = append(out, reference{f.Models[i].Model, point, sync.OnceValue(func() *placing.Placer {
					ears := fp.earModels()
					return placing.NewPlacer(&ears)
				})})
			}
		}
	}
	return out
}

// FrozenModel is what a study knows about one model.
type FrozenModel struct {
	Model   string             `json:"model"`
	Open    bool               `json:"open_back"`
	Blocked FrozenPoint        `json:"blocked"`
	Drum    FrozenPoint        `json:"drum"`
	Mark    position.MarkError `json:"mark"` // of the drum's survey against the blocked one
	Worn    *verdict.Target    `json:"worn,omitempty"`
}

// FrozenPoint is what a study knows about one model at one point.
type FrozenPoint struct {
	Survey  *survey.Survey      `json:"survey,omitempty"` // nil without one
	Scatter [2]position.BandCov `json:"scatter"`
	Total   [2]position.BandCov `json:"total"`
	// Temper, a ratio of 1 or more, divides the information of a fixture seating's levels
	// of where the headset sits, TemperApart of how the cups lie apart; 0 stands for
	// Temper.
	Temper      float64       `json:"temper"`
	TemperApart float64       `json:"temper_apart,omitempty"`
	ApartMM     float64       `json:"apart_mm,omitempty"` // how far apart the cups of a seating usually lie; 0 where that was not learned
	Mark        placing.Mark  `json:"mark,omitzero"`
	Seals       []FrozenCurve `json:"seals,omitempty"` // the low end of other seatings, to judge a seal by
}

// at returns what is known at a point.
func (fm *FrozenModel) at(p capture.Point) *FrozenPoint {
	if p == capture.Drum {
		return &fm.Drum
	}
	return &fm.Blocked
}

// refer refers a place on the fixture to the marked position of the blocked
// survey, from where people wear the model, and multiplies in the position that
// was read. A displaced row at the drum stays with its own mark: it is a check of
// that survey alone.
func (fm *FrozenModel) refer(at *position.FixtureSeating, s seat.Seating) {
	if s.Point == capture.Drum && !s.Displaced() {
		if fm.Blocked.Mark.Known() {
			at.Shift(fm.Mark)
			at.Read(s, fm.Blocked.Mark)
			return
		}
		at.Read(s, fm.Drum.Mark)
		at.Shift(fm.Mark)
		return
	}
	at.Read(s, fm.at(s.Point).Mark)
}

// FrozenCurve is one seating as far as its seal needs it.
type FrozenCurve struct {
	ID      string        `json:"id"`
	Subject string        `json:"subject"`
	Ears    [2]seat.Curve `json:"ears"`
}

func (fp *FrozenPoint) earModels() (out [2]placing.Ear) {
	bands := survey.NewBands()
	for e := range out {
		out[e].Bands = bands
		if fp.Survey.Ears[e].Known() {
			out[e].Survey = &fp.Survey.Ears[e]
			out[e].Scatter = fp.Scatter[e].Matrix(bands)
			out[e].Total = fp.Total[e].Matrix(bands)
		}
	}
	return out
}

// frozenSeals is how many seatings are kept to judge a seal by.
const frozenSeals = 12

// sealCurves keeps the low end of ordinary seatings, evenly picked.
func sealCurves(ss []seat.Seating) []FrozenCurve {
	var ordinary []seat.Seating
	for _, s := range ss {
		if !s.Displaced() {
			ordinary = append(ordinary, s)
		}
	}
	n := min(frozenSeals, len(ordinary))
	out := make([]FrozenCurve, n)
	for i := range out {
		s := ordinary[i*len(ordinary)/n]
		out[i] = FrozenCurve{ID: s.ID, Subject: s.Subject}
		for e, c := range s.Ears {
			k := min(seal.LeakBands, len(c.LevelDB), len(c.StdErrDB), len(c.Valid))
			out[i].Ears[e] = seat.Curve{LevelDB: c.LevelDB[:k:k], StdErrDB: c.StdErrDB[:k:k], Valid: c.Valid[:k:k]}
		}
	}
	return out
}
