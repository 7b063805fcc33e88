package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/cmd/internal/pipeline"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/text"
	"asworn/report/view"
)

func (a *app) runCommand() *cobra.Command {
	var opt pipeline.Options
	cmd := &cobra.Command{
		Use:   "run DIR",
		Short: "Do everything in a study: responses, offsets, verdicts, corrections, tables",
		Long: `The main job. Reads study.toml and seatings.csv in DIR, checks and transforms
every recording, estimates where each seating sits, judges the fixture seatings
against the worn ones and writes everything under DIR/results: results.json,
tables as CSV and Markdown, and the page. Recordings are only read.

What was computed is kept (docs/developing/cache.md): a second run does only what changed,
and an interrupted one continues where it stopped.`,
		Example: `  asworn run my-study
  asworn run my-study --json >results.json
  asworn run my-study --jobs 1 2>findings.txt | less`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt.Jobs = a.jobs
			return a.run(cmd.Context(), args[0], opt)
		},
	}
	runFlags(cmd, &opt)
	return cmd
}

func runFlags(cmd *cobra.Command, opt *pipeline.Options) {
	cmd.Flags().BoolVar(&opt.Rehash, "rehash", false, "read every recording again, even those whose size and times have not changed")
	cmd.Flags().BoolVar(&opt.Partial, "partial", false, "leave out rows whose recording is not there yet")
}

func (a *app) run(ctx context.Context, dir string, opt pipeline.Options) error {
	step, end := a.progress("recordings")
	opt.Progress = step
	opt.Waiting = func() { a.note("%s: another run of this study has not ended; waiting for it", dir) }
	opt.Stage = func(name string) {
		end()
		end = a.busy(name)
	}
	r, counts, err := pipeline.Run(ctx, dir, opt)
	end()
	if err != nil {
		var wrong capture.StudyErrors
		if !opt.Partial && errors.As(err, &wrong) && errors.Is(err, fs.ErrNotExist) {
			err = errors.Join(err, errors.New("a study that is still being recorded runs with --partial, which leaves out rows without a file"))
		}
		return err
	}
	shown := view.New(counts.WithChanges(r))
	for _, rec := range shown.Recordings {
		for _, f := range rec.Findings {
			a.finding(fmt.Sprintf("%s (row %d)", rec.File, rec.Row), f)
		}
	}
	a.misfiled(counts)
	a.note("%s", countsLine(counts))
	if a.json {
		err = report.WriteJSON(a.out, r)
	} else {
		err = a.printResults(shown)
	}
	if err != nil {
		return err
	}
	if shown.NeedsOperator() {
		return errOperator
	}
	return nil
}

// misfiled tells of recordings that are in no row of the sheet, and of the same
// recording under two names.
func (a *app) misfiled(c pipeline.Counts) {
	const most = 10
	for i, file := range c.Strays {
		if i == most {
			a.note("and %d more WAV files that are in no row of the sheet", len(c.Strays)-most)
			break
		}
		message := "in no row of the sheet"
		if c.Missing > 0 {
			message += fmt.Sprintf(", and %d rows are not recorded yet", c.Missing)
		}
		a.finding(file, capture.Finding{Severity: capture.Warning, Message: message,
			Mend: "if it is one of them, give it the name that the sheet gives; else move it out of the study's folder"})
	}
	for _, t := range c.Twins {
		a.finding(t.Also, capture.Finding{Severity: capture.Warning, Message: "the same bytes as " + t.File,
			Mend: "one recording stands under two names: find out which it is, and record the other again"})
	}
}

func countsLine(c pipeline.Counts) string {
	parts := []string{fmt.Sprintf("%d recordings: %d processed, %d from the cache, %d refused", c.Recordings, c.Processed, c.Cached, c.Refused)}
	if c.Missing > 0 {
		parts = append(parts, fmt.Sprintf("%d not recorded yet", c.Missing))
	}
	if c.Damaged > 0 {
		parts = append(parts, fmt.Sprintf("%s of an earlier run missing or not as written, and made anew", text.Plural(c.Damaged, "file")))
	}
	if !c.Estimated {
		parts = append(parts, "estimates from the cache")
	}
	return strings.Join(parts, "; ")
}

// printResults prints the tables and, last because it is what is read first on
// a terminal, the summary in plain words.
func (a *app) printResults(v *view.View) error {
	opt := a.tableOptions()
	if err := table.WriteAll(a.out, v.Tables().Brief(), opt); err != nil {
		return err
	}
	return v.WriteSummary(a.out, opt)
}
