package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/respond"
	"asworn/cmd/internal/resultdir"
	"asworn/report"
	"asworn/report/export"
)

// exportsDir holds, under results/, what other tools take.
const exportsDir = "exports"

// ExportOptions shape the exports.
type ExportOptions struct {
	FilterRateHz float64
	Version      string // of the program, for the files that name their maker
}

// WriteExports writes, under results/exports of the study folder dir, the
// corrections of the last results as filters, the impulse responses of every
// usable recording as WAV and the headphone responses as AES69 files
// (docs/exports.md). It returns the files written. Responses come from the
// cache of the last run where it still holds them.
func WriteExports(ctx context.Context, dir string, what ExportOptions, opt Options) ([]string, error) {
	if rate := what.FilterRateHz; !(rate >= 8000 && rate <= 1e6) || rate != math.Trunc(rate) {
		return nil, fmt.Errorf("filter rate %g Hz: want a whole number from 8000 to 1000000", rate)
	}
	r, err := resultdir.Last(dir)
	if err != nil {
		return nil, err
	}
	release, err := resultdir.Lock(ctx, dir, nil)
	if err != nil {
		return nil, err
	}
	defer release()
	impulses, err := impulsesOf(ctx, dir, r, opt)
	if err != nil {
		return nil, err
	}
	sub := func(name string) (string, error) {
		if _, err := resultdir.OwnFolder(dir, exportsDir); err != nil {
			return "", err
		}
		return resultdir.OwnFolder(dir, filepath.Join(exportsDir, name))
	}
	var files []string
	filters, err := sub("filters")
	if err != nil {
		return nil, err
	}
	more, err := export.Corrections(filters, r, what.FilterRateHz)
	files = append(files, more...)
	if err != nil {
		return files, err
	}
	waves, err := sub("impulses")
	if err != nil {
		return files, err
	}
	more, err = export.Impulses(waves, r, impulses)
	files = append(files, more...)
	if err != nil {
		return files, err
	}
	sofa, err := sub("aes69")
	if err != nil {
		return files, err
	}
	common := export.HeadphoneSet{Version: what.Version}
	if info, err := os.Stat(filepath.Join(resultdir.Root(dir), resultdir.ResultsFile)); err == nil {
		common.Created = info.ModTime()
	}
	more, err = export.Headphones(sofa, r, impulses, common)
	return append(files, more...), err
}

// impulsesOf gives access to the impulse responses behind the results.
func impulsesOf(ctx context.Context, dir string, r report.Results, opt Options) (export.Source, error) {
	study, err := study.LoadPartial(dir)
	if err != nil {
		return nil, err
	}
	setup, err := study.Setup()
	if err != nil {
		return nil, err
	}
	l, err := openLine(dir, setup, opt)
	if err != nil {
		return nil, err
	}
	var rows []capture.Seating
	for _, row := range study.Seatings {
		if slices.ContainsFunc(r.Recordings, func(rec report.Recording) bool { return rec.File == row.File && rec.Usable }) {
			rows = append(rows, row)
		}
	}
	responses, err := l.responder.All(ctx, rows)
	if err == nil {
		err = l.responder.KeepImpulses(ctx, rows, responses)
	}
	if err = errors.Join(err, l.stamps.Save()); err != nil {
		return nil, err
	}
	index := make(map[string]respond.Response, len(rows))
	for i, row := range rows {
		index[row.File] = responses[i]
	}
	return func(rec report.Recording) (export.Pair, error) {
		var out export.Pair
		found, ok := index[rec.File]
		if !ok {
			return out, fmt.Errorf("the study no longer holds this recording; run 'asworn run %s' again", dir)
		}
		h, ok := l.responder.ImpulsesOf(found.Key)
		if !ok {
			return out, fmt.Errorf("its impulse responses are no longer in the cache; run 'asworn report --exports %s' again", dir)
		}
		for e := range h {
			out.Ears[e] = make([]float64, len(h[e]))
			r := found.Recording.Ears[e]
			out.Start[e] = math.Round(r.Delay - r.Onset)
			for i, v := range h[e] {
				out.Ears[e][i] = float64(v)
			}
		}
		out.RateHz, out.Common = found.Recording.Ears[0].RateHz, setup.Loopback > 0
		return out, nil
	}, nil
}
