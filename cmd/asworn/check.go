package main

import (
	"context"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/cmd/internal/pipeline"
	"asworn/report"
)

func (a *app) checkCommand() *cobra.Command {
	var opt pipeline.CheckOptions
	cmd := &cobra.Command{
		Use:   "check DIR FILE",
		Short: "Judge one new fixture seating against a study that was run before",
		Long: `Judges the recording FILE of a headphone on the fixture, microphone at the
blocked entrance, against the last run of the study in DIR: verdict and which
way to move. Nothing of the study's recordings is read again and nothing is
written, so the answer is there in about the time it takes to look up.`,
		Example: `  asworn check my-study new.wav
  asworn check my-study new.wav --model "Model A" --json`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.check(cmd.Context(), args[0], args[1], opt)
		},
	}
	cmd.Flags().StringVar(&opt.Model, "model", "", "headphone model, needed when the study holds several")
	cmd.Flags().IntVar(&opt.Number, "seating", 0, "number to call the seating by (default: one more than the model's highest on the fixture, the survey left aside)")
	return cmd
}

func (a *app) check(ctx context.Context, dir, file string, opt pipeline.CheckOptions) error {
	study, err := pipeline.OpenFrozen(dir)
	if err != nil {
		return err
	}
	if study.Stale() {
		a.finding(dir, capture.Finding{Severity: capture.Warning, Message: "study.toml or seatings.csv changed since the last run",
			Mend: "run the study again to judge by what they say now"})
	}
	r, err := study.Check(ctx, file, opt)
	if err != nil {
		return err
	}
	for _, f := range r.Recordings[0].Findings {
		a.finding(file, f)
	}
	if a.json {
		err = report.WriteJSON(a.out, r)
	} else {
		opt := a.tableOptions()
		if err = report.FixtureTable(r).WriteText(a.out, opt); err == nil {
			err = report.SummaryWidth(a.out, r, opt.Width)
		}
	}
	if err != nil {
		return err
	}
	if report.NeedsOperator(r) {
		return errOperator
	}
	return nil
}
