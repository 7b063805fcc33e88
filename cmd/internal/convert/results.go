package convert

import (
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/cmd/internal/respond"
	"asworn/fitcorr"
	"asworn/fitcorr/reading"
	"asworn/report"
)

// About is what a result says of its study before any recording.
func About(study *capture.Study, readings reading.Result) (report.Results, error) {
	r := report.Results{
		Schema: report.Schema, Title: study.Title, Fixture: study.Fixture.Name, Coupler: study.Fixture.Coupler,
		Options: report.Options{Limits: study.Limits,
			SlopeDBPerOctave: study.Fixture.SlopeDBPerOctave},
	}
	for _, b := range band.All() {
		r.BandsHz = append(r.BandsHz, b.Mid)
	}
	for _, b := range band.AllThirds() {
		r.ThirdsHz = append(r.ThirdsHz, b.Mid)
	}
	var err error
	if r.ReferenceDB, err = referenceDB(study); err != nil {
		return r, err
	}
	r.Findings = append(limits(study), readingFindings(readings)...)
	drifts, err := calibrationDrifts(study)
	r.Findings = append(r.Findings, drifts...)
	return r, err
}

// Results puts the responses of a study's rows and the analysis of the usable ones to
// what is said about it.
func Results(about report.Results, study *capture.Study, responses []respond.Response, a fitcorr.Analysis) report.Results {
	r := about
	r.Analysis = a
	for i, row := range study.Seatings {
		rec := responses[i].Recording
		if r.LevelUnit == "" {
			r.LevelUnit = rec.LevelUnit
		}
		out := Recording(row, rec)
		for _, m := range a.Misfits {
			if m.ID == row.File {
				Refuse(&out, m)
			}
		}
		r.Recordings = append(r.Recordings, out)
	}
	return r
}

// Recording is one row of the sheet with what became of it.
func Recording(row capture.Seating, rec capture.Recording) report.Recording {
	out := report.Recording{
		Seating: row, Usable: rec.Quality.Usable(), Findings: rec.Quality.Findings,
		Repeats: rec.Repeats, Used: rec.Used, DriftPPM: rec.DriftPPM, Ears: bothCurves(rec), SoundSeconds: rec.SoundSeconds,
	}
	for e, r := range rec.Ears {
		out.NoiseDB[e] = r.NoiseDB
		if rec.LevelUnit != study.RelativeLevel {
			out.SweepLevelA[e] = r.SweepLevelA
		}
	}
	return out
}

// Refuse adds that a recording is not what the sheet says.
func Refuse(rec *report.Recording, m fitcorr.Misfit) {
	f := finding.New(finding.WrongRecording, m.Why)
	f.Mend = m.Mend
	rec.Findings = append(slices.Clone(rec.Findings), f)
	rec.Usable = false
}
