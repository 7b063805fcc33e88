package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/fixtures"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/resultdir"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/tabulate"
	"asworn/report/text"
	"asworn/report/view"
)

func runCommand(c *console.Console) *cobra.Command {
	var opt pipeline.Options
	cmd := &cobra.Command{
		Use:   "run DIR",
		Short: "Do everything in a study: responses, offsets, verdicts, corrections, tables",
		Long: `The main job. Reads study.toml and seatings.csv in DIR, checks and transforms
every recording, estimates where each seating sits, judges the fixture seatings
against the worn ones and writes everything under DIR/results: results.json,
tables as CSV and Markdown, and the page. Recordings are only read.

Of a study that declares several fixtures each is run by itself, under
DIR/results/NAME, and then they are compared; DIR@NAME runs one of them, here and
in the other commands.

What was computed is kept (docs/developing/cache.md): a second run does only what changed,
and an interrupted one continues where it stopped.`,
		Example: `  asworn run my-study
  asworn run my-study --json >results.json
  asworn run my-study --jobs 1 2>findings.txt | less`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt.Jobs = c.Jobs
			if names := study.FixturesOf(args[0]); len(names) > 1 {
				return runFixtures(cmd.Context(), c, args[0], names, opt)
			}
			return runStudy(cmd.Context(), c, args[0], opt)
		},
	}
	runFlags(cmd, &opt)
	cmd.ValidArgsFunction = console.Folders
	return cmd
}

func runFlags(cmd *cobra.Command, opt *pipeline.Options) {
	cmd.Flags().BoolVar(&opt.Rehash, "rehash", false, "read every recording again, even those whose size and times have not changed")
	cmd.Flags().BoolVar(&opt.Partial, "partial", false, "leave out rows whose recording is not there yet")
}

// runFixtures runs a study for each of its fixtures and compares them.
func runFixtures(ctx context.Context, c *console.Console, dir string, names []string, opt pipeline.Options) error {
	var all []report.Results
	var verdict error
	for _, name := range names {
		if !c.JSON {
			fmt.Fprintf(c.Out, "Fixture %s\n\n", text.OneLine(name))
		}
		r, err := runOne(ctx, c, study.At(dir, name), opt, !c.JSON)
		if err != nil && !errors.Is(err, console.ErrOperator) {
			return err
		}
		all, verdict = append(all, r), errors.Join(verdict, err)
	}
	compared, err := fixtures.Compare(dir, names, all)
	if err != nil {
		return err
	}
	if c.JSON {
		err = json.NewEncoder(c.Out).Encode(compared)
	} else {
		brief, _ := tabulate.Fixtures(compared)
		err = table.WriteAll(c.Out, brief, c.TableOptions())
	}
	if err != nil {
		return err
	}
	c.Note("Done: fixtures compared; open %s", fixtures.PagePath(dir))
	if verdict != nil {
		return console.ErrOperator
	}
	return nil
}

func runStudy(ctx context.Context, c *console.Console, dir string, opt pipeline.Options) error {
	_, err := runOne(ctx, c, dir, opt, true)
	return err
}

// runOne runs a study, or what one of its fixtures sees, and prints the results
// if they are to be shown.
func runOne(ctx context.Context, c *console.Console, dir string, opt pipeline.Options, show bool) (report.Results, error) {
	step, end := c.Progress("recordings")
	opt.Progress = step
	opt.Waiting = func() { c.Note("%s: another run of this study has not ended; waiting for it", dir) }
	opt.Stage = func(name string) {
		end()
		end = c.Busy(name)
	}
	r, counts, err := pipeline.Run(ctx, dir, opt)
	end()
	if err != nil {
		if n := rowsWithoutFile(err); n > 0 && !opt.Partial {
			c.Note("%s of the sheet without a recording; while a study is being recorded: asworn run --partial %s", text.Plural(n, "row"), dir)
		}
		return r, err
	}
	for _, doubt := range counts.Doubts {
		c.Note("warning: %s", doubt)
	}
	shown := view.New(counts.WithChanges(r))
	c.Findings(shown.Recordings)
	misfiled(c, counts)
	c.Note("%s", countsLine(counts))
	switch {
	case !show:
	case c.JSON:
		err = report.WriteJSON(c.Out, r)
	default:
		err = printResults(c, shown)
	}
	if err != nil {
		return r, err
	}
	if n := len(shown.Curves()); n > 0 {
		c.Note("%s as text files (frequency, level, interval): %s", text.Plural(n, "curve"), resultdir.Path(dir, resultdir.CurvesDir))
	}
	c.Note("%s; open %s", shown.Done(), resultdir.Path(dir, resultdir.PageFile))
	if shown.NeedsOperator() || counts.PanelChanged {
		return r, console.ErrOperator
	}
	return r, nil
}

// misfiled tells of recordings that are in no row of the sheet, and of the same
// recording under two names.
func misfiled(c *console.Console, n pipeline.Counts) {
	if len(n.Strays) > 0 {
		const most = 3
		message := "in no row of the sheet"
		if more := len(n.Strays) - 1; more > 0 {
			message += fmt.Sprintf(", as are %s (%s", text.Plural(more, "more WAV file"), strings.Join(n.Strays[1:min(most, len(n.Strays))], ", "))
			if len(n.Strays) > most {
				message += ", …"
			}
			message += ")"
		}
		if n.Missing > 0 {
			message += fmt.Sprintf("; %d rows are not recorded yet", n.Missing)
		}
		c.Finding(n.Strays[0], capture.Finding{Severity: capture.Warning, Message: message,
			Mend: "give what belongs to a row the name that the sheet gives it; move the rest out of the study's folder"})
	}
	for _, t := range n.Twins {
		c.Finding(t.Also, capture.Finding{Severity: capture.Warning, Message: "the same bytes as " + t.File,
			Mend: "one recording stands under two names: find out which it is, and record the other again"})
	}
}

// rowsWithoutFile counts the rows of a sheet whose recording is not there.
func rowsWithoutFile(err error) (n int) {
	var wrong capture.StudyErrors
	if errors.As(err, &wrong) {
		for _, p := range wrong {
			if p.Item != "" && errors.Is(p, fs.ErrNotExist) {
				n++
			}
		}
	}
	return n
}

func countsLine(n pipeline.Counts) string {
	parts := []string{fmt.Sprintf("%d recordings: %d processed, %d from the cache, %d rejected", n.Recordings, n.Processed, n.Cached, n.Refused)}
	if n.Missing > 0 {
		parts = append(parts, fmt.Sprintf("%d not recorded yet", n.Missing))
	}
	if n.Damaged > 0 {
		parts = append(parts, fmt.Sprintf("%s of an earlier run missing or not as written, and made anew", text.Plural(n.Damaged, "file")))
	}
	if !n.Estimated {
		parts = append(parts, "estimates from the cache")
	}
	return strings.Join(parts, "; ")
}

// printResults prints the tables and, last because it is what is read first on
// a terminal, the summary in plain words.
func printResults(c *console.Console, v *view.View) error {
	opt := c.TableOptions()
	if lacks := v.Lacks(); lacks != "" {
		fmt.Fprintln(c.Out, strings.Join(table.Wrap(lacks, opt.Columns()), "\n")+"\n")
	}
	if err := table.WriteAll(c.Out, v.Tables().Brief(), opt); err != nil {
		return err
	}
	return v.WriteSummary(c.Out, opt)
}
