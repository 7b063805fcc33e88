package pipeline

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/capture/study"
	"asworn/cmd/internal/convert"
	"asworn/cmd/internal/respond"
	"asworn/fitcorr"
	"asworn/report"
)

// Judge judges recordings of a study one by one as they are made, with the
// findings that a run gives. What it computes is kept for the next run. One
// goroutine may use it at a time.
type Judge struct {
	study  *capture.Study
	setup  capture.Setup
	line   *line
	own    *capture.Processor
	about  report.Results
	frozen *FrozenStudy // nil before the first run
	no     error        // why it is nil
	rows   []capture.Seating
	traits []compare.Traits
}

// Judgement is what one recording showed.
type Judgement struct {
	// Results hold that one recording and, where the study can tell, its verdict.
	Results   report.Results
	Usable    bool              // it is no reason to record again
	Recording capture.Recording // without impulse responses
}

// OpenJudge reads the study in dir and what was recorded so far: new recordings
// are compared with it. opt.Progress hears of recordings that have to be
// processed.
func OpenJudge(ctx context.Context, dir string, opt Options) (*Judge, error) {
	st, err := study.LoadPartial(dir)
	if err != nil {
		return nil, err
	}
	j := &Judge{study: st}
	if j.setup, err = st.Setup(); err != nil {
		return nil, err
	}
	if j.line, err = openLine(dir, j.setup, opt); err != nil {
		return nil, err
	}
	if j.about, err = convert.About(st, convert.Readings(st)); err != nil {
		return nil, err
	}
	responses, err := j.line.responder.All(ctx, st.Seatings)
	if err != nil {
		return nil, err
	}
	j.rows, j.traits = st.Seatings, compareAll(j.setup, st.Seatings, responses, opt.Jobs).Traits
	j.frozen, j.no = OpenFrozen(dir) // there may be no run yet, or one of another program
	return j, nil
}

// NoVerdict says why fixture seatings of a model get findings alone; nil where they get a
// verdict.
func (j *Judge) NoVerdict(model string) error {
	if j.frozen == nil {
		return j.no
	}
	if _, err := j.frozen.model(model); err != nil {
		return fmt.Errorf("%s was not in the last run; run 'asworn run %s' again", model, j.study.Dir)
	}
	return nil
}

// Study returns the study as it was when the judge was opened.
func (j *Judge) Study() *capture.Study { return j.study }

// Setup returns what recordings are processed with.
func (j *Judge) Setup() capture.Setup { return j.setup }

// Rejected reports whether the recording of a row, made before the judge was opened
// or judged by it, is kept out of every curve by its own findings.
func (j *Judge) Rejected(file string) bool {
	at := slices.IndexFunc(j.rows, func(r capture.Seating) bool { return r.File == file })
	return at >= 0 && !j.traits[at].Usable
}

// Fixture returns what a recording that is in no row is taken for: the next
// ordinary seating of a model on the fixture, at the point that Judge finds. An
// empty model is the only one of the study.
func (j *Judge) Fixture(model, file string) (capture.Seating, error) {
	out := capture.Seating{File: file, Model: model, Subject: capture.FixtureSubject}
	var models []string
	for _, rows := range [][]capture.Seating{j.study.Seatings, j.study.NotRecorded, j.rows} {
		for _, r := range rows {
			if r.Model != "" && !slices.Contains(models, r.Model) {
				models = append(models, r.Model)
			}
		}
	}
	if model == "" && len(models) == 1 {
		out.Model = models[0]
	}
	if !slices.Contains(models, out.Model) {
		return out, fmt.Errorf("%s is in no row of the sheet, and whose it is is not known: put it into the sheet, or name one of the study's models with --model: %s", file, strings.Join(models, ", "))
	}
	for _, rows := range [][]capture.Seating{j.study.Seatings, j.study.NotRecorded, j.rows} {
		for _, r := range rows {
			if r.OrdinaryOnFixture() && r.Model == out.Model && r.File != file {
				out.Number = max(out.Number, r.Number)
			}
		}
	}
	out.Number++
	return out, nil
}

// Prepare does what Judge needs for a model and a recording is not needed for, so
// that nobody has to wait for it afterwards.
func (j *Judge) Prepare(model string) error {
	if j.frozen != nil {
		j.frozen.frozen.Fit.Warm(model)
	}
	return j.line.responder.Ready(&j.own)
}

// Judge processes the recording of a row and compares it with those before it,
// whose place it takes where it is a row's second. An ordinary fixture seating gets
// a verdict by the last run, or is refused where it is not of its model at its
// point, as a check does; a row without a point is taken for the one whose survey
// explains it best. Without a run, or for a model that it did not hold, a recording
// gets its findings alone.
func (j *Judge) Judge(ctx context.Context, row capture.Seating) (Judgement, error) {
	if err := ctx.Err(); err != nil {
		return Judgement{}, err
	}
	got, err := j.line.responder.One(len(j.rows), row, &j.own)
	if err != nil {
		return Judgement{}, err
	}
	rec := got.Recording
	if at := slices.IndexFunc(j.rows, func(r capture.Seating) bool { return r.File == row.File }); at >= 0 {
		j.rows, j.traits = slices.Delete(slices.Clone(j.rows), at, at+1), slices.Delete(slices.Clone(j.traits), at, at+1)
	}
	if row.Point == "" {
		row.Point = capture.Blocked
		if j.frozen != nil && rec.Quality.Usable() {
			row.Point = j.frozen.frozen.Fit.PointOf(convert.Seating(row, rec))
		}
	}
	own := compare.TraitsOf(j.setup, rec)
	rec.AddFindings(compare.With(j.rows, j.traits, row, own, j.line.opt.Jobs)...)
	own.Usable = rec.Quality.Usable()
	j.rows, j.traits = append(j.rows, row), append(j.traits, own)

	out := Judgement{Results: j.about, Usable: rec.Quality.Usable(), Recording: rec}
	out.Results.LevelUnit = rec.LevelUnit
	out.Results.Recordings = []report.Recording{convert.Recording(row, rec)}
	out.Results.Analysis.Models = []fitcorr.ModelAnalysis{{Model: row.Model}}
	if j.frozen == nil || !out.Usable || !row.OrdinaryOnFixture() {
		return out, nil
	}
	if _, err := j.frozen.model(row.Model); err != nil {
		return out, nil
	}
	seating, found := convert.Seating(row, rec), out.Results
	err = respond.Guard(func() error { return j.frozen.judge(&found, row.Model, seating) })
	if err != nil && seating.Read != nil { // a reading that does not fit is for the run to tell
		seating.Read, found = nil, out.Results
		err = respond.Guard(func() error { return j.frozen.judge(&found, row.Model, seating) })
	}
	if err == nil { // else the last run could judge no seating of this model at this point
		out.Results, out.Usable = found, found.Recordings[0].Usable
	}
	return out, nil
}
