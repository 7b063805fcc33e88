// Package convert turns what one library holds into what the next one takes: rows and
// recordings of capture into seatings of fitcorr, and what fitcorr found into the
// results of report. It works nothing out, and knows neither caches nor results/.
package convert

import (
	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
)

// bootstrapDraws is the cross-check of the analytic intervals of a run.
const bootstrapDraws = 1000

// Seating is a row with the levels of its recording, as the estimators take it.
func Seating(row capture.Seating, rec capture.Recording) fitcorr.Seating {
	return fitcorr.Seating{
		ID: row.File, Model: row.Model, Unit: row.Unit, Subject: row.Subject, Point: row.Point,
		Number: row.Number, Survey: row.Survey, Read: row.Read, Loudspeaker: row.Loudspeaker, Seal: row.Seal, Ears: bothCurves(rec),
	}
}

// Rows is what the sheet says about seatings, without their curves.
func Rows(ss []fitcorr.Seating) []fitcorr.Seating {
	out := make([]fitcorr.Seating, len(ss))
	for i, s := range ss {
		s.Ears = [2]fitcorr.Curve{}
		out[i] = s
	}
	return out
}

// bothCurves are the levels of a recording as the estimators see them.
func bothCurves(rec capture.Recording) (out [2]fitcorr.Curve) {
	for e, r := range rec.Ears {
		out[e] = fitcorr.Curve{LevelDB: r.LevelDB, StdErrDB: r.StdErrDB, Valid: r.Valid}
	}
	return out
}

// Options are what a study asks of its analysis; readings say what one reading is worth.
func Options(study *capture.Study, readings reading.Result, jobs int) fitcorr.Options {
	opt := fitcorr.DefaultOptions()
	opt.Limits, opt.MarkMM = study.Limits, study.Fixture.MarkMM
	opt.CalibrationDB = study.CalibrationDB
	opt.Reading = readings.Uncertainty(study.Reading)
	opt.Bootstrap, opt.Jobs = bootstrapDraws, jobs
	return opt
}

// Readings is what the study's readings.csv comes to.
func Readings(study *capture.Study) reading.Result {
	return reading.Combine(study.Readings, seat.ReadingOr(study.Reading))
}

// PlaceReadings gives each seating that readings.csv holds readings of their estimate.
func PlaceReadings(ss []fitcorr.Seating, r reading.Result) {
	for i := range ss {
		s := &ss[i]
		if e, ok := r.At[reading.Placement{Head: s.Subject, Model: s.Model, Number: s.Number}]; ok {
			e.Give(s)
		}
	}
}
