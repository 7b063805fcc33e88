// Package view says what a study's results hold, in tables, figures and
// sentences. A View is made once from a report.Results and everything else is
// read from it; it knows neither files nor formats, and estimates nothing.
package view

import (
	"strconv"
	"strings"
	"sync"

	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/figure"
)

// View is a report.Results with what belongs together found. Tables and
// figures are made when they are first asked for, and once.
type View struct {
	report.Results
	byFile   map[string]int
	seatings []fixtureSeating

	tables  func() Tables
	figures func() []figure.Figure
}

// New makes the view of results, which must not change afterwards. Results
// without anything in them give a view without tables and figures.
func New(results report.Results) *View {
	r := &View{Results: results, byFile: make(map[string]int, len(results.Recordings))}
	for i, rec := range r.Recordings {
		r.byFile[rec.File] = i
	}
	r.seatings = r.fixtureSeatings()
	r.tables, r.figures = sync.OnceValue(r.makeTables), sync.OnceValue(r.makeFigures)
	return r
}

// fixtureSeating is one ordinary blocked seating on the fixture with its
// verdict, or with the recording that was refused.
type fixtureSeating struct {
	model   *fitcorr.ModelAnalysis
	verdict fitcorr.Verdict
	offset  *fitcorr.Offset
	act     action
	rec     report.Recording // of the refused one
}

// fixtureSeatings lists judged seatings model by model, and after each model's
// those that were refused.
func (r *View) fixtureSeatings() []fixtureSeating {
	var out []fixtureSeating
	for i := range r.Analysis.Models {
		m := &r.Analysis.Models[i]
		for _, v := range m.Verdicts {
			out = append(out, fixtureSeating{model: m, verdict: v, offset: offsetOf(*m, v.ID), act: actionFor(v)})
		}
		for _, rec := range r.Recordings {
			if rec.Model == m.Model && rec.OnFixture() && rec.Survey == nil && !rec.Usable {
				out = append(out, fixtureSeating{model: m, act: actRefused, rec: rec})
			}
		}
	}
	return out
}

func offsetOf(m fitcorr.ModelAnalysis, id string) *fitcorr.Offset {
	for i := range m.Offsets {
		if m.Offsets[i].ID == id {
			return &m.Offsets[i]
		}
	}
	return nil
}

func (r *View) recording(id string) (report.Recording, bool) {
	i, ok := r.byFile[id]
	if !ok {
		return report.Recording{}, false
	}
	return r.Recordings[i], true
}

// name calls a seating by its parts, or by its id when the sheet has no such row.
func (r *View) name(id string) string {
	if rec, ok := r.recording(id); ok {
		return seatingName(rec)
	}
	return id
}

// numbers calls seatings of one subject by their numbers: "seating 3", "seatings 3, 5".
func (r *View) numbers(ids []string) string {
	var out []string
	for _, id := range ids {
		if rec, ok := r.recording(id); ok {
			id = strconv.Itoa(rec.Number)
		}
		out = append(out, id)
	}
	if len(out) == 1 {
		return "seating " + out[0]
	}
	return "seatings " + strings.Join(out, ", ")
}
