package fitcorr

import (
	"errors"
	"fmt"
)

// modelSetup is one headphone model as its survey on the fixture shows it.
type modelSetup struct {
	name     string
	seatings []Seating // at the blocked entrance, survey rows and listeners included
	models   [2]earModel
	survey   Survey
	reports  [2]*SurveyReport
	ruler    [3]float64 // standard deviation of a stated displacement per axis
	scatter  [2]SmoothCov
	total    [2]SmoothCov
	inflate  float64        // of a fixture seating's covariance, from the survey's held-out rows
	places   []fixturePlace // by levels, per seating; zero where there is none
	mark     FrozenMark
	notes    []string // what the seatings cannot answer, in plain words
}

// newModel surveys a model from its seatings at the blocked entrance and places
// those on the fixture; leaks are their seals by id. It fails when neither ear
// has a usable survey.
func newModel(name string, seatings []Seating, leaks map[string][2]Leak) (*modelSetup, error) {
	m := &modelSetup{name: name, seatings: seatings, survey: Survey{Model: name}}
	rows := surveyRows(seatings)
	bands := newPositionBands()
	var slip [2][]float64
	known := false
	for e := range 2 {
		m.models[e].bands = bands
		slip[e] = make([]float64, len(rows))
		for i := range slip[e] {
			slip[e][i] = 1
		}
		fit, rep, err := fitEarSurvey(rows, e, slip[e])
		if err != nil {
			m.note("%s ear: %v", earName(e), err)
			continue
		}
		m.survey.Ears[e] = fit
		m.models[e].survey = &m.survey.Ears[e]
		m.reports[e] = rep
		known = true
	}
	if !known {
		if len(rows) == 0 {
			return nil, errors.New("offsets in mm: no position survey of this model on the fixture")
		}
		return nil, fmt.Errorf("offsets in mm: the position survey has %d usable rows (at least %d are needed) or no band counts in all of them", len(rows), minSurveyRows)
	}
	slips := slipped(rows, &m.models, &slip)
	if len(slips) > 0 {
		for e := range 2 {
			if fit, rep, err := fitEarSurvey(rows, e, slip[e]); err == nil {
				m.survey.Ears[e], m.reports[e] = fit, rep
			}
		}
	}
	var ordinary []Seating
	for _, s := range seatings {
		if s.OrdinaryOnFixture() {
			ordinary = append(ordinary, s)
		}
	}
	m.ruler, m.scatter, m.total = fixtureScatter(rows, ordinary, &m.models, slip)
	var rms [3]float64
	rms, m.inflate = heldOutPositions(rows, &m.models, m.ruler, slip)
	for e := range 2 {
		rep := m.reports[e]
		if rep == nil {
			continue
		}
		m.models[e].describe(rep, rows, e)
		rep.HeldOutMM = rms
		for _, i := range slips {
			rep.Warnings = append(rep.Warnings, fmt.Sprintf("survey row %s does not fit the others and hardly counts: check its displacement, or seat and record it again", rows[i].ID))
		}
	}
	pl := newPlacer(&m.models)
	m.places = make([]fixturePlace, len(seatings))
	for i, s := range seatings {
		if s.OnFixture() {
			m.places[i], _ = pl.fixture(s, i, leaks[s.ID], m.inflate)
		}
	}
	return m, nil
}

func (m *modelSetup) note(format string, args ...any) {
	m.notes = append(m.notes, fmt.Sprintf(format, args...))
}
