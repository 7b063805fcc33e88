package earlier

import (
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
)

// Panel is what one study knows of its listeners, its fixture and its readers by
// itself: nothing that it was told by studies before it, so that several can be
// taken together.
type Panel struct {
	Study   string        `json:"study"` // title
	Point   capture.Point `json:"point"` // of bare ears and positions: the blocked entrance
	BandsHz []float64     `json:"bands_hz"`
	Fixture Fixture       `json:"fixture"`
	// Listeners are all who wore a headphone or were measured bare, by name.
	Listeners []string   `json:"listeners"`
	Bare      []Bare     `json:"bare_ears,omitempty"`
	Entrances []Entrance `json:"entrances,omitempty"`
	Readings  Readings   `json:"readings"`
	Models    []Model    `json:"models,omitempty"`
	// Recordings are those that all of this comes from, in the order of the sheet.
	Recordings []Recording `json:"recordings,omitempty"`
}

// Recording is a file as a study calls it, and what it holds: its SHA-256 in hexadecimal digits.
type Recording struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
}

// Fixture names a fixture.
type Fixture struct {
	Name    string `json:"name"`
	Coupler string `json:"coupler,omitempty"`
	// ReferenceDB is its reference per kept band without the study's slope; nil without one.
	ReferenceDB []float64 `json:"reference_db,omitempty"`
}

// Bare is one recording of the bare ears of a listener or of the fixture, from the
// loudspeaker in its place.
type Bare struct {
	Subject     string        `json:"subject"`
	Loudspeaker string        `json:"loudspeaker,omitempty"` // its place, where there are several
	Ears        [2]seat.Curve `json:"ears"`
}

// Entrance is where the canal's entrance of a head was found on one side, mm from a
// point that stays: the mean of so many findings.
type Entrance struct {
	Subject   string     `json:"subject"`
	Side      study.Side `json:"side,omitempty"`
	ForwardMM float64    `json:"forward_mm"`
	UpMM      float64    `json:"up_mm"`
	Findings  int        `json:"findings"`
}

// Readings are the standard deviations that this study's readings showed, mm, with
// the degrees of freedom that they add to what was stated; 0 where nothing was repeated.
type Readings struct {
	One             reading.Learned `json:"one"`
	Landmark        reading.Learned `json:"landmark"`
	FixtureLandmark reading.Learned `json:"fixture_landmark"`
}

// Model is how a model's levels depended on its fit.
type Model struct {
	Model       string                    `json:"model"`
	Sensitivity []sensitivity.Sensitivity `json:"sensitivity"`
}

// Of gathers what a study knows by itself: its usable seatings, its rows of
// readings.csv and what those came to. Levels are kept to 0.001 dB. Recordings are left
// to whoever knows files.
func Of(title string, fixture Fixture, ss []seat.Seating, rows []study.ReadingRow, read reading.Result, models []Model) Panel {
	p := Panel{Study: title, Point: capture.Blocked, BandsHz: bandsHz(), Fixture: fixture, Models: models}
	p.Fixture.ReferenceDB = rounded(fixture.ReferenceDB)
	for _, s := range ss {
		if !s.OnFixture() && !slices.Contains(p.Listeners, s.Subject) {
			p.Listeners = append(p.Listeners, s.Subject)
		}
		if s.Model == "" && s.Point == capture.Blocked {
			b := Bare{Subject: s.Subject, Loudspeaker: s.Loudspeaker}
			for e, c := range s.Ears {
				b.Ears[e] = seat.Curve{LevelDB: rounded(c.LevelDB), StdErrDB: rounded(c.StdErrDB), Valid: slices.Clone(c.Valid)}
			}
			p.Bare = append(p.Bare, b)
		}
	}
	slices.Sort(p.Listeners)
	p.Entrances = entrances(rows)
	own := func(l reading.Learned) reading.Learned {
		if l.DF <= reading.StatedDF {
			return reading.Learned{}
		}
		return reading.Learned{MM: l.MM, DF: l.DF - reading.StatedDF}
	}
	p.Readings = Readings{own(read.One), own(read.Landmark), own(read.FixtureLandmark)}
	return p
}

func bandsHz() []float64 {
	var out []float64
	for _, b := range band.All() {
		out = append(out, math.Round(1e6*b.Mid)/1e6)
	}
	return out
}

// rounded rounds to 0.001; what is no number becomes 0, as bands that do not count hold.
func rounded(v []float64) []float64 {
	if v == nil {
		return nil
	}
	out := make([]float64, len(v))
	for i, x := range v {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			out[i] = math.Round(1000*x) / 1000
		}
	}
	return out
}
