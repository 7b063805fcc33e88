package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"asworn/cmd/internal/console"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/simulate/demo"
)

func demoCommand(c *console.Console) *cobra.Command {
	var opt demo.Options
	var only bool
	cmd := &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Write an invented study with real WAV files and run everything on it",
		Long: `Writes an invented study into DIR (asworn-demo when none is named): two
closed-back and one open-back model, eight listeners, a survey of the fixture at
the blocked ear-canal entrance and at the drum, fixture seatings of which some are off on
purpose, readings by two people, and a few spoilt recordings. Then runs the
main job on it. What is true of the study lies in ` + demo.TruthFile + `, which the
run never reads. The same seed gives the same study.`,
		Example: `  asworn demo
  asworn demo /tmp/trial --listeners 4 --seatings 3
  asworn demo --write-only && asworn run asworn-demo`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := "asworn-demo"
			if len(args) == 1 {
				dir = args[0]
			}
			if opt.Listeners < 1 || opt.Seatings < 1 || opt.SurveySize < 0 {
				return console.Usagef("--listeners and --seatings must be at least 1, --survey at least 0")
			}
			return writeDemo(cmd.Context(), c, dir, opt, only)
		},
	}
	flags := cmd.Flags()
	flags.Uint64Var(&opt.Seed, "seed", 1, "draws the study")
	flags.IntVar(&opt.Listeners, "listeners", 8, "listeners in the panel")
	flags.IntVar(&opt.Seatings, "seatings", 4, "seatings per listener and model")
	flags.IntVar(&opt.SurveySize, "survey", 13, "displacements of the survey per model and point")
	flags.BoolVar(&only, "write-only", false, "write the study, do not run it")
	return cmd
}

func writeDemo(ctx context.Context, c *console.Console, dir string, opt demo.Options, only bool) error {
	opt.Jobs = c.Jobs
	step, end := c.Progress("writing the study")
	opt.Progress = step
	truth, err := demo.Write(ctx, dir, opt)
	end()
	if err != nil {
		return err
	}
	c.Note("%s: an invented study of %d recordings; what is true of it is in %s",
		dir, len(truth.Seatings), filepath.Join(dir, filepath.FromSlash(demo.TruthFile)))
	if only {
		fmt.Fprintln(c.Out, dir)
		return nil
	}
	if err := runStudy(ctx, c, dir, pipeline.Options{Jobs: c.Jobs}); !errors.Is(err, console.ErrOperator) {
		return err
	}
	return nil // seatings that need the operator are what the demo is to show
}
