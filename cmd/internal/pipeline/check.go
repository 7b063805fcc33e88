package pipeline

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/convert"
	"asworn/cmd/internal/respond"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr"
	"asworn/report"
)

// FrozenStudy is what the last run left for judging new seatings.
type FrozenStudy struct {
	dir       string
	frozen    frozen
	processor *capture.Processor
}

// CheckOptions say what a new recording is of.
type CheckOptions struct {
	Model  string           // may be empty when the study holds one model
	Point  capture.Point    // empty means the surveyed point whose survey explains the recording best
	Number int              // 0 means one more than the highest ordinary fixture seating
	Read   *capture.Reading // where the headphone was seen to sit; nil when nobody looked
	Holds  *study.Holds     // what the file holds; nil for what its name tells and the model's files on the fixture hold
}

// OpenFrozen reads what the last run of the study in dir left.
func OpenFrozen(dir string) (*FrozenStudy, error) {
	program, err := cache.ProgramKey()
	if err != nil {
		return nil, err
	}
	raw, err := resultdir.ReadBack(dir, resultdir.FrozenFile, resultdir.MaxBytes)
	if err != nil {
		return nil, err
	}
	key, err := frozenKey(program)
	if err != nil {
		return nil, err
	}
	s := &FrozenStudy{dir: dir}
	var setup capture.Setup
	if err := cache.Unseal(raw, key, &setup); err != nil {
		return nil, s.unread(err)
	}
	made := make(chan error, 1)
	go func() { // while the rest is read
		var err error
		s.processor, err = capture.NewProcessor(setup)
		made <- err
	}()
	err = cache.Unseal(raw, key, new(capture.Setup), &s.frozen) // not over the one that is read meanwhile
	if e := <-made; err == nil && e != nil {
		return nil, e
	}
	if err != nil {
		return nil, s.unread(err)
	}
	s.frozen.Setup, s.frozen.Fit = setup, s.frozen.Fit.Shared()
	return s, nil
}

func (s *FrozenStudy) unread(err error) error {
	return fmt.Errorf("%s: %w; run 'asworn run %s' again", filepath.Join(resultdir.Root(s.dir), resultdir.FrozenFile), err, s.dir)
}

// Stale reports whether study.toml or seatings.csv changed since the run.
func (s *FrozenStudy) Stale() bool {
	key, err := textsKey(resultdir.StudyFolder(s.dir))
	return err != nil || key != s.frozen.Texts
}

// model finds the model of a new recording and the next number of a seating.
func (s *FrozenStudy) model(name string) (frozenModel, error) {
	var names []string
	for _, m := range s.frozen.Models {
		if m.Name == name || name == "" && len(s.frozen.Models) == 1 {
			return m, nil
		}
		names = append(names, fmt.Sprintf("%q", m.Name))
	}
	if name == "" {
		return frozenModel{}, fmt.Errorf("the study holds several models; name one with --model: %s", strings.Join(names, ", "))
	}
	return frozenModel{}, fmt.Errorf("the study holds no model %q; it holds %s", name, strings.Join(names, ", "))
}

// Check judges one recording of a fixture seating at either point. The results
// hold that one recording and, when it is usable and of the model at the point, its
// verdict.
func (s *FrozenStudy) Check(ctx context.Context, file string, opt CheckOptions) (report.Results, error) {
	m, err := s.model(opt.Model)
	if err != nil {
		return report.Results{}, err
	}
	if err := ctx.Err(); err != nil {
		return report.Results{}, err
	}
	if s.processor == nil { // it failed on the recording before
		if s.processor, err = capture.NewProcessor(s.frozen.Setup); err != nil {
			return report.Results{}, err
		}
	}
	s.frozen.Fit.Warm(m.Name)
	holds := holdsOf(file, opt.Holds, m.Holds)
	rec, err := respond.Process(&s.processor, file, holds)
	if err != nil {
		return report.Results{}, err
	}
	row := capture.Seating{File: filepath.ToSlash(file), Model: m.Name, Subject: capture.FixtureSubject, Point: opt.Point, Number: opt.Number, Read: opt.Read, Holds: holds}
	if row.Number == 0 {
		row.Number = m.Highest + 1
	}
	if row.Point == "" {
		row.Point = capture.Blocked
		if rec.Quality.Usable() {
			row.Point = s.frozen.Fit.PointOf(convert.Seating(row, rec))
		}
	}
	s.compare(row, &rec)
	r := s.frozen.About
	r.LevelUnit = rec.LevelUnit
	r.Recordings = []report.Recording{convert.Recording(row, rec)}
	if !rec.Quality.Usable() {
		r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: m.Name}}
		return r, nil
	}
	err = respond.Guard(func() error { return s.judge(&r, m.Name, convert.Seating(row, rec)) })
	if err != nil {
		return report.Results{}, fmt.Errorf("%s: %w", file, err)
	}
	return r, nil
}

// judge adds the verdict of a usable seating of a model to results that hold its
// recording.
func (s *FrozenStudy) judge(r *report.Results, model string, seating fitcorr.Seating) error {
	fit := s.frozen.Fit
	if wrong, bad := fit.Misfit(seating); bad {
		convert.Refuse(&r.Recordings[0], wrong)
		r.Analysis.Misfits = []fitcorr.Misfit{wrong}
		r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: model}}
		return nil
	}
	offset, verdict, err := fit.Check(seating)
	if err != nil {
		return err
	}
	r.Analysis.Models = []fitcorr.ModelAnalysis{{Model: model, Offsets: []fitcorr.Offset{offset}, Verdicts: []fitcorr.Verdict{verdict}}}
	if where := report.NotFinite(r.Analysis); where != "" {
		return fmt.Errorf("analysis.%s is not a finite number: a fault of asworn; %s", where, respond.FaultMend)
	}
	return nil
}

// compare adds to a new recording what only the comparison with the study
// shows. When its placement is in the study already, the new one takes the
// place of the old; so it does of a recording with the same sound, which is noted.
func (s *FrozenStudy) compare(row capture.Seating, rec *capture.Recording) {
	var rows []capture.Seating
	var traits []compare.Traits
	own := compare.TraitsOf(s.frozen.Setup, *rec)
	for i, r := range s.frozen.Rows {
		if own.Content != ([32]byte{}) && own.Content == s.frozen.Traits[i].Content {
			rec.AddFindings(finding.New(finding.SameContent, fmt.Sprintf("it holds the same sound as %s (row %d of the study)", r.File, r.Row)).
				Rated(finding.Note).Mended("nothing, if that recording was to be judged again; else see which file the recorder wrote"))
			continue
		}
		if r.Model == row.Model && r.Subject == row.Subject && r.Point == row.Point && r.Number == row.Number && !r.Displaced() {
			continue
		}
		rows, traits = append(rows, r), append(traits, s.frozen.Traits[i])
	}
	rec.AddFindings(compare.With(rows, traits, row, own, 0)...)
}
