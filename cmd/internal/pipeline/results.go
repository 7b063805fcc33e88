package pipeline

import (
	"math"
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

// bootstrapDraws is the cross-check of the analytic intervals of a run.
const bootstrapDraws = 1000

func fitOptions(study *capture.Study, readings reading.Result, jobs int) fitcorr.Options {
	opt := fitcorr.DefaultOptions()
	opt.Limits, opt.MarkMM = study.Limits, study.Fixture.MarkMM
	opt.CalibrationDB = study.CalibrationDB
	opt.Reading = readings.Uncertainty(study.Reading)
	opt.Bootstrap, opt.Jobs = bootstrapDraws, jobs
	return opt
}

// bothCurves are the levels of a recording as the estimators see them.
func bothCurves(rec capture.Recording) (out [2]fitcorr.Curve) {
	for e, r := range rec.Ears {
		out[e] = fitcorr.Curve{LevelDB: r.LevelDB, StdErrDB: r.StdErrDB, Valid: r.Valid}
	}
	return out
}

func fitSeating(row capture.Seating, rec capture.Recording) fitcorr.Seating {
	return fitcorr.Seating{
		ID: row.File, Model: row.Model, Unit: row.Unit, Subject: row.Subject, Point: row.Point,
		Number: row.Number, Survey: row.Survey, Read: row.Read, Loudspeaker: row.Loudspeaker, Seal: row.Seal, Ears: bothCurves(rec),
	}
}

// rowsOf is what the sheet says about seatings, without their curves.
func rowsOf(ss []fitcorr.Seating) []fitcorr.Seating {
	out := make([]fitcorr.Seating, len(ss))
	for i, s := range ss {
		s.Ears = [2]fitcorr.Curve{}
		out[i] = s
	}
	return out
}

// recordingResult is one row of the sheet with what became of it.
func recordingResult(row capture.Seating, rec capture.Recording) report.Recording {
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

// refuse adds that a recording is not what the sheet says.
func refuse(rec *report.Recording, m fitcorr.Misfit) {
	f := finding.New(finding.WrongRecording, m.Why)
	f.Mend = m.Mend
	rec.Findings = append(slices.Clone(rec.Findings), f)
	rec.Usable = false
}

// octaves is how many octaves f lies above the reference frequency.
func octaves(f float64) float64 { return math.Log2(f / band.ReferenceHz) }

// about is what a result says of its study before any recording.
func about(study *capture.Study, readings reading.Result) (report.Results, error) {
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

func results(about report.Results, study *capture.Study, responses []respond.Response, a fitcorr.Analysis) report.Results {
	r := about
	r.Analysis = a
	for i, row := range study.Seatings {
		rec := responses[i].Recording
		if r.LevelUnit == "" {
			r.LevelUnit = rec.LevelUnit
		}
		out := recordingResult(row, rec)
		for _, m := range a.Misfits {
			if m.ID == row.File {
				refuse(&out, m)
			}
		}
		r.Recordings = append(r.Recordings, out)
	}
	return r
}
