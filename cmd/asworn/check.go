package main

import (
	"context"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/pipeline"
	"asworn/report"
	"asworn/report/view"
)

func checkCommand(c *console.Console) *cobra.Command {
	var opt pipeline.CheckOptions
	var read, holds string
	cmd := &cobra.Command{
		Use:   "check DIR FILE",
		Short: "Judge one new fixture seating against a study that was run before",
		Long: `Judges the recording, impulse response or curve FILE of a headphone on the
fixture, at the blocked ear-canal entrance or at the drum, whichever was surveyed,
against the last run of the study in DIR: verdict and which way to move. A recording of another model, at another
point, from a wrong channel or of an electrical signal is rejected, and named by
the survey that fits it. Nothing of the study's recordings is read again and nothing is
written, so the answer is there in about the time it takes to look up.

Where the study holds read positions (read_forward_mm, read_up_mm), --read gives
that of the new seating, read in the same way: beside the ear, at the same point
of the cup, without touching cup or cable.`,
		Example: `  asworn check my-study new.wav
  asworn check my-study new.wav --model "Model A" --json
  asworn check my-study new.wav --read -31.5,12`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if p := opt.Point; p != "" && p != capture.Blocked && p != capture.Drum {
				return console.Usagef("--point %q: want %s or %s", p, capture.Blocked, capture.Drum)
			}
			var err error
			if opt.Holds, err = parseHolds(holds); err != nil {
				return err
			}
			if cmd.Flags().Changed("read") {
				r, ok := study.ParseReading(read)
				if !ok {
					return console.Usagef("--read %q: want two numbers of mm from -%d to %d with a comma between, forward then up, as in --read -31.5,12",
						read, capture.MaxReadingMM, capture.MaxReadingMM)
				}
				opt.Read = &r
			}
			return checkFile(cmd.Context(), c, args[0], args[1], opt)
		},
	}
	cmd.Flags().StringVar(&opt.Model, "model", "", "headphone model, needed when the study holds several")
	cmd.Flags().StringVar((*string)(&opt.Point), "point", "", "point of the recording, blocked or drum (default: the one whose survey explains it best)")
	console.CompleteModels(cmd, "model")
	console.Complete(cmd, "point", string(capture.Blocked), string(capture.Drum))
	cmd.ValidArgsFunction = console.FolderThenWAV
	holdsFlag(cmd, &holds)
	cmd.Flags().IntVar(&opt.Number, "seating", 0, "number to call the seating by (default: one more than the model's highest on the fixture, the survey left aside)")
	cmd.Flags().StringVar(&read, "read", "", "where the headphone was seen to sit, `FORWARD,UP` in mm, as in the study's sheet")
	return cmd
}

// holdsFlag adds the flag that says what files hold.
func holdsFlag(cmd *cobra.Command, holds *string) {
	cmd.Flags().StringVar(holds, "holds", "", "what the file holds, as in the sheet: recording, impulse response or curve (default: what its name and the study tell)")
	console.Complete(cmd, "holds", "recording", string(study.HoldsImpulse), string(study.HoldsCurve))
}

// parseHolds returns nil where nothing is said.
func parseHolds(word string) (*study.Holds, error) {
	if word == "" {
		return nil, nil
	}
	holds, ok := study.ParseHolds(word)
	if !ok {
		return nil, console.Usagef("--holds %q: want recording, %s or %s", word, study.HoldsImpulse, study.HoldsCurve)
	}
	return &holds, nil
}

func checkFile(ctx context.Context, c *console.Console, dir, file string, opt pipeline.CheckOptions) error {
	frozen, err := pipeline.OpenFrozen(dir)
	if err != nil {
		return err
	}
	if frozen.Stale() {
		c.Finding(dir, capture.Finding{Severity: capture.Warning, Message: "study.toml or seatings.csv changed since the last run",
			Mend: "run the study again to judge by what they say now"})
	}
	r, err := frozen.Check(ctx, file, opt)
	if err != nil {
		return err
	}
	for _, f := range finding.ByCause(r.Recordings[0].Findings) {
		c.Joint(file, f)
	}
	v := view.New(r)
	if c.JSON {
		err = report.WriteJSON(c.Out, r)
	} else {
		opt := c.TableOptions()
		if err = v.Tables().Fixture.WriteText(c.Out, opt); err == nil {
			err = v.WriteSummary(c.Out, opt)
		}
	}
	if err != nil {
		return err
	}
	if v.NeedsOperator() {
		return console.ErrOperator
	}
	return nil
}
