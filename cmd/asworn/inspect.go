package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/capture/sweep"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/studydir"
	"asworn/report/table"
	"asworn/report/text"
)

type inspectOptions struct {
	study string
	holds string
	setup capture.Setup
}

func inspectCommand(c *console.Console) *cobra.Command {
	opt := inspectOptions{setup: capture.Setup{Sweep: sweep.Default(), Left: 1, Right: 2}}
	cmd := &cobra.Command{
		Use:   "inspect FILE...",
		Short: "Look at recordings one at a time: levels, noise, clipping, drift, what to do about it",
		Long: `Processes each recording by itself and tells what is wrong with it and what
remedies it. What was played and which channel is which come from --study, or from
the flags. Files need not be in a seating sheet. Nothing is written.

A microphone at a blocked ear-canal entrance sits flush with it, in a plug that shuts the
canal: set in slowly and never pushed deep, on the fixture as on people, held by the plug's rim
and drawn out slowly, with the headphone off. A level that differs between the
repeats of one recording means that it moves. docs/protocol.md tells the whole of it, and
what the mark on the fixture is.`,
		Example: `  asworn inspect --study my-study my-study/recordings/*.wav
  asworn inspect take1.wav --seconds 3 --repeats 2 --loopback 3
  asworn inspect --study my-study new.wav --json`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, files []string) error {
			if opt.study != "" {
				for _, name := range []string{"start", "stop", "seconds", "repeats", "gap", "lead", "rate", "left", "right", "loopback"} {
					if cmd.Flags().Changed(name) {
						return console.Usagef("--%s and --study: the study says what was played; leave one of them out", name)
					}
				}
			}
			return inspectFiles(cmd.Context(), c, files, opt)
		},
	}
	f := cmd.Flags()
	f.StringVar(&opt.study, "study", "", "study folder whose study.toml says what was played")
	f.IntVar(&opt.setup.Left, "left", 1, "channel of the left ear, 0 for none")
	f.IntVar(&opt.setup.Right, "right", 2, "channel of the right ear, 0 for none")
	f.IntVar(&opt.setup.Loopback, "loopback", 0, "channel of the electrical reference, 0 for none")
	holdsFlag(cmd, &opt.holds)
	sweepFlags(f, &opt.setup.Sweep)
	return cmd
}

func inspectFiles(ctx context.Context, c *console.Console, files []string, opt inspectOptions) error {
	setup := opt.setup
	if opt.study != "" {
		var err error
		if setup, err = studydir.Setup(opt.study); err != nil {
			return err
		}
	}
	holds, err := parseHolds(opt.holds)
	if err != nil {
		return err
	}
	step, end := c.Progress("recordings")
	found, err := pipeline.Inspect(ctx, setup, files, holds, c.Jobs, step)
	end()
	if err != nil {
		return err
	}
	needed := false
	for _, r := range found {
		needed = needed || !r.Recording.Quality.Usable()
		for _, f := range finding.ByCause(r.Recording.Quality.Findings) {
			c.Joint(r.File, f)
		}
	}
	if c.JSON {
		err = json.NewEncoder(c.Out).Encode(found)
	} else {
		err = inspectionTable(found).WriteText(c.Out, c.TableOptions())
	}
	if err == nil && needed {
		return console.ErrOperator
	}
	return err
}

func inspectionTable(found []pipeline.Inspection) table.Table {
	unit := "dBFS"
	for _, r := range found {
		if r.Calibrated {
			unit = "dB SPL"
		}
	}
	t := table.Table{
		Name: "inspection", Title: "Recordings",
		Note: "Level: of the sweep at the microphone. Noise: between the sweeps, as the median over bands of signal over noise. " +
			"Bands: how many of the kept bands count. What was found stands on stderr with its remedy.",
		Columns: []table.Column{
			{Head: "File", Key: "file", Repeat: true},
			{Head: "Ear", Key: "ear", Repeat: true},
			{Head: "Level\n" + unit, Key: "level_db", Kind: table.Number},
			{Head: "Signal over\nnoise, dB", Key: "snr_db", Kind: table.Number},
			{Head: "Bands\nthat count", Key: "valid_bands", Kind: table.Number},
			{Head: "Repeats\nused", Key: "repeats"},
			{Head: "Clock\nppm", Key: "drift_ppm", Kind: table.Number},
			{Head: "State", Key: "state"},
		},
	}
	for _, r := range found {
		state := table.Cell{Text: "good", Tone: table.Good}
		if n := len(r.Recording.Quality.Findings); n > 0 {
			worst := r.Recording.Quality.Findings[0].Severity
			state = table.Cell{Text: worst.String(), Tone: table.Plain}
			switch worst {
			case capture.Warning:
				state.Tone = table.Unsure
			case capture.Refusal:
				state.Tone = table.Bad
			}
		}
		for e, ear := range r.Recording.Ears {
			if !r.Present[e] {
				continue
			}
			number := func(digits int, v float64) table.Cell {
				if r.Recording.Used == 0 { // no repeat: nothing was measured
					return table.Cell{Text: "–"}
				}
				return table.Cell{Text: text.Fixed(v, digits), Num: []float64{v}}
			}
			t.Rows = append(t.Rows, []table.Cell{
				{Text: filepath.Base(r.File)}, {Text: capture.Ear(e).String()},
				number(1, ear.SweepLevelDB), number(0, r.SNRDB[e]), number(0, float64(r.ValidBands[e])),
				{Text: fmt.Sprintf("%d of %d", r.Recording.Used, r.Recording.Repeats)},
				number(1, r.Recording.DriftPPM), state,
			})
		}
	}
	return t
}
