package position

import (
	"errors"
	"fmt"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/seal"
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
	ruler    [3]float64 // standard deviation of a stated displacement per axis
	Scatter  [2]SmoothCov
	Total    [2]SmoothCov
	Temper   float64        // divides the information of the sound, from the survey's held-out rows; ≥ 1
	Places   []FixturePlace // by levels, per seating; zero where there is none
	Mark     placing.Mark
	Notes    []string // what the seatings cannot answer, in plain words
}

// NewModel surveys a model from its seatings at one point and places those on
// the fixture; leaks are their seals by id. It fails when neither ear
// has a usable survey.
func NewModel(name string, point capture.Point, seatings []seat.Seating, leaks map[string][2]seal.Leak) (*Model, error) {
	m := &Model{Name: name, Point: point, Seatings: seatings, Survey: survey.Survey{Model: name}}
	rows := survey.Rows(seatings, point)
	bands := survey.NewBands()
	var slip [2][]float64
	known := false
	for e := range 2 {
		m.Ears[e].Bands = bands
		slip[e] = make([]float64, len(rows))
		for i := range slip[e] {
			slip[e][i] = 1
		}
		fit, rep, err := survey.FitEar(rows, e, slip[e])
		if err != nil {
			m.note("%s ear: %v", seat.EarName(e), err)
			continue
		}
		m.Survey.Ears[e] = fit
		m.Ears[e].Survey = &m.Survey.Ears[e]
		m.Reports[e] = rep
		known = true
	}
	if !known {
		if len(rows) == 0 {
			return nil, errors.New("offsets in mm: no position survey of this model on the fixture")
		}
		return nil, fmt.Errorf("offsets in mm: the position survey has %d usable rows (at least %d are needed) or no band counts in all of them", len(rows), survey.FewestRows)
	}
	slips := slipped(rows, &m.Ears, &slip)
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
	m.ruler, m.Scatter, m.Total = fixtureScatter(rows, ordinary, &m.Ears, slip)
	held := calibrate(heldOut(rows, &m.Ears, slip), m.ruler, placeDF(&m.Ears))
	m.Temper = held.temper
	for e := range 2 {
		rep := m.Reports[e]
		if rep == nil {
			continue
		}
		describe(&m.Ears[e], rep, rows, e)
		rep.HeldOutMM = held.rms
		for _, i := range slips {
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("survey row %s does not fit the others and hardly counts: check its displacement, or seat and record it again", rows[i].ID))
		}
	}
	pl := placing.NewPlacer(&m.Ears)
	m.Places = make([]FixturePlace, len(seatings))
	for i, s := range seatings {
		if s.OnFixture() {
			m.Places[i], _ = PlaceFixture(pl, s, i, leaks[s.ID], m.Temper)
		}
	}
	return m, nil
}

func (m *Model) note(format string, args ...any) {
	m.Notes = append(m.Notes, fmt.Sprintf(format, args...))
}
