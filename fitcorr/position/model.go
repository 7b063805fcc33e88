package position

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// Model is one headphone model as its survey on the fixture shows it.
type Model struct {
	Name     string
	Point    capture.Point
	Seatings []seat.Seating // at that point, survey rows and listeners included
	Ears     [2]placing.Ear
	Survey   survey.Survey
	Reports  [2]*survey.Report
	ruler    [3]float64       // standard deviation of a stated displacement per axis: mm, mm, degrees
	Scatter  [2]BandCov       // of one seating about the surface
	Total    [2]BandCov       // of one survey row: with the ruler's error
	Temper   placing.Temper   // divides the information of the sound, from the survey's held-out rows; ≥ 1
	Placed   []FixtureSeating // per seating of Seatings, by levels; zero on listeners, where no place was found, and of survey rows before PlaceRows
	ApartMM  float64          // how far apart the cups of a seating on the fixture usually lie (placing.Posterior.Apart); 0 before CupsApart
	Mark     placing.Mark
	Notes    []string // what the seatings cannot answer, in plain words
}

// Learned is what a model's survey on the fixture and its ordinary seatings there show.
type Learned struct {
	Survey  survey.Survey
	Reports reports        // per ear; nil without a survey
	Ruler   [3]float64     // standard deviation of a stated displacement per axis: mm, mm, degrees
	Scatter [2]BandCov     // of one seating about the surface; zero without a survey
	Total   [2]BandCov     // of one survey row: with the ruler's error
	Temper  placing.Temper // see Model.Temper
	Notes   []string       // what the seatings cannot answer, in plain words
}

// reports goes through gob as JSON: gob has no nil in an array.
type reports [2]*survey.Report

// GobEncode implements gob.GobEncoder.
func (r reports) GobEncode() ([]byte, error) { return json.Marshal([2]*survey.Report(r)) }

// GobDecode implements gob.GobDecoder.
func (r *reports) GobDecode(b []byte) error { return json.Unmarshal(b, (*[2]*survey.Report)(r)) }

// Learn is what a model's seatings on the fixture at one point show; others are left
// alone. It fails when neither ear has a usable survey: the error says that offsets in mm
// cannot be told, and why.
func Learn(name string, point capture.Point, seatings []seat.Seating) (Learned, error) {
	m := Learned{Survey: survey.Survey{Model: name}}
	var ears [2]placing.Ear
	rows := survey.Rows(seatings, point)
	bands := survey.NewBands()
	var slip [2][]float64
	known := false
	for e := range 2 {
		ears[e].Bands = bands
		slip[e] = make([]float64, len(rows))
		for i := range slip[e] {
			slip[e][i] = 1
		}
		fit, rep, err := survey.FitEar(rows, e, slip[e])
		if err != nil {
			m.Notes = append(m.Notes, fmt.Sprintf("%s ear: %v", seat.EarName(e), err))
			continue
		}
		m.Survey.Ears[e] = fit
		ears[e].Survey = &m.Survey.Ears[e]
		m.Reports[e] = rep
		known = true
	}
	if !known {
		if len(rows) == 0 {
			return m, errors.New("offsets in mm: no position survey of this model on the fixture")
		}
		return m, fmt.Errorf("offsets in mm: the position survey has %d usable rows (at least %d are needed) or no band counts in all of them", len(rows), survey.FewestRows)
	}
	slips := slipped(rows, &ears, &slip)
	if len(slips) > 0 {
		for e := range 2 {
			if fit, rep, err := survey.FitEar(rows, e, slip[e]); err == nil {
				m.Survey.Ears[e], m.Reports[e] = fit, rep
			}
		}
	}
	var ordinary []seat.Seating
	for _, s := range seatings {
		if s.OrdinaryOnFixture() {
			ordinary = append(ordinary, s)
		}
	}
	m.Ruler, m.Scatter, m.Total = fixtureScatter(rows, ordinary, &ears, slip)
	held := calibrate(heldOut(rows, &ears, slip), m.Ruler, placeDF(&ears))
	m.Temper = held.temper
	for e := range 2 {
		rep := m.Reports[e]
		if rep == nil {
			continue
		}
		describe(&ears[e], rep, rows, e)
		rep.HeldOutMM = held.rms
		for _, i := range slips {
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("survey row %s does not fit the others and hardly counts: check its displacement, or seat and record it again", rows[i].ID))
		}
	}
	return m, nil
}

// Place is the model with its seatings at the point, of which ordinary ones on the fixture
// are placed. No seatings give a model without any.
func (l Learned) Place(point capture.Point, seatings []seat.Seating) *Model {
	m := &Model{Name: l.Survey.Model, Point: point, Seatings: seatings, Survey: l.Survey, Reports: l.Reports, ruler: l.Ruler,
		Scatter: l.Scatter, Total: l.Total, Temper: l.Temper, Notes: l.Notes}
	bands := survey.NewBands()
	for e := range m.Ears {
		m.Ears[e].Bands = bands
		if m.Survey.Ears[e].Known() {
			m.Ears[e].Survey = &m.Survey.Ears[e]
			m.Ears[e].Scatter, m.Ears[e].Total = m.Scatter[e].Matrix(bands), m.Total[e].Matrix(bands)
		}
	}
	m.Placed = make([]FixtureSeating, len(seatings))
	m.place(seat.Seating.OrdinaryOnFixture)
	return m
}

// PlaceRows places the rows of the survey too, whose positions nothing rests on: they are shown beside
// those that were set.
func (m *Model) PlaceRows() {
	m.place(func(s seat.Seating) bool { return s.OnFixture() && !s.OrdinaryOnFixture() })
}

// place places the seatings of a kind by their levels.
func (m *Model) place(kind func(seat.Seating) bool) {
	if !slices.ContainsFunc(m.Seatings, kind) {
		return
	}
	pl := placing.NewPlacer(&m.Ears)
	for i, s := range m.Seatings {
		if kind(s) {
			m.Placed[i], _ = PlaceFixture(pl, s, m.Temper)
		}
	}
}

// ForPanel is what the worn seatings are fitted with: the model without the places of its
// seatings on the fixture, which an ordinary one at either point alters and no worn one asks
// for. What it shares with m must not be changed.
func (m *Model) ForPanel() *Model {
	return &Model{Name: m.Name, Point: m.Point, Seatings: m.Seatings, Ears: m.Ears, Mark: m.Mark}
}

func (m *Model) note(format string, args ...any) {
	m.Notes = append(m.Notes, fmt.Sprintf(format, args...))
}
