// Package judged holds the results of a study with what belongs together found:
// each fixture seating beside its verdict, the rows of a listener, and the
// standard words for all of them. Tables, figures and sentences are made from it.
// It knows none of those, and estimates nothing.
package judged

import (
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/report"
)

// Study is a report.Results with what belongs together found.
type Study struct {
	report.Results
	// Seatings are the ordinary blocked seatings on the fixture, model by
	// model, and after each model's those that were refused.
	Seatings []Seating
	byFile   map[string]int // index into Recordings
}

// Of finds what belongs together in results, which must not change afterwards.
func Of(results report.Results) *Study {
	r := &Study{Results: results, byFile: make(map[string]int, len(results.Recordings))}
	for i, rec := range r.Recordings {
		r.byFile[rec.File] = i
	}
	r.Seatings = r.fixtureSeatings()
	return r
}

// Seating is one ordinary blocked seating on the fixture with its
// verdict, or with the recording that was refused.
type Seating struct {
	Model     *fitcorr.ModelAnalysis
	Verdict   fitcorr.Verdict
	Offset    *fitcorr.Offset // nil without one
	Action    Action
	Recording report.Recording // of the refused one
}

func (r *Study) fixtureSeatings() []Seating {
	var out []Seating
	for i := range r.Analysis.Models {
		m := &r.Analysis.Models[i]
		for _, v := range m.Verdicts {
			out = append(out, Seating{Model: m, Verdict: v, Offset: offsetOf(*m, v.ID), Action: ActionFor(v)})
		}
		for _, rec := range r.Recordings {
			if rec.Model == m.Model && rec.OrdinaryOnFixture() && !rec.Usable {
				out = append(out, Seating{Model: m, Action: Refused, Recording: rec})
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

// Recording returns a recording by its file.
func (r *Study) Recording(id string) (report.Recording, bool) {
	i, ok := r.byFile[id]
	if !ok {
		return report.Recording{}, false
	}
	return r.Recordings[i], true
}

// Numbers calls seatings of one subject by their numbers: "seating 3", "seatings 3, 5".
func (r *Study) Numbers(ids []string) string {
	var out []string
	for _, id := range ids {
		if rec, ok := r.Recording(id); ok {
			id = strconv.Itoa(rec.Number)
		}
		out = append(out, id)
	}
	if len(out) == 1 {
		return "seating " + out[0]
	}
	return "seatings " + strings.Join(out, ", ")
}

// Ordinary are the usable placements of a model at a point without
// deliberate displacement; worn ones or those on the fixture.
func (r *Study) Ordinary(model string, p capture.Point, worn bool) []report.Recording {
	var out []report.Recording
	for _, rec := range r.Recordings {
		if rec.Usable && rec.Model == model && rec.Point == p && !rec.Displaced() && !rec.BareEar() && rec.OnFixture() != worn {
			out = append(out, rec)
		}
	}
	return out
}

// Listeners names those who wore a model, in the order of the sheet.
func (r *Study) Listeners(model string) []string {
	var out []string
	seen := map[string]bool{}
	for _, rec := range r.Recordings {
		if rec.Model == model && !rec.OnFixture() && !rec.BareEar() && !seen[rec.Subject] {
			seen[rec.Subject] = true
			out = append(out, rec.Subject)
		}
	}
	return out
}

// SeatingCounts counts the ordinary rows of a subject with a model, and those of
// them that are usable.
func (r *Study) SeatingCounts(model, who string) (of, used int) {
	for _, rec := range r.Recordings {
		if rec.Model == model && rec.Subject == who && !rec.Displaced() && !rec.BareEar() {
			of++
			if rec.Usable {
				used++
			}
		}
	}
	return of, used
}
