package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/cmd/internal/bench"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/loopback"
	"asworn/cmd/internal/record"
)

type recordOptions struct {
	model, from string
	fixture     string
	listener    string
	point       capture.Point
	limit       float64
	choice      record.Choice
	devices     bool
	page        bool
	serve       loopback.Options
}

func recordCommand(c *console.Console, sound func() (audio.System, error)) *cobra.Command {
	var opt recordOptions
	cmd := &cobra.Command{
		Use:   "record DIR",
		Short: "Play and record a study row by row, each take judged at once",
		Long: `Walks the plan in seatings.csv: shows the next row, plays and records it, writes
the recording under the plan's name and says at once whether to keep it, or why to
record it again. Nothing is overwritten: what a later take replaces is kept in
DIR/retakes. An interrupted session goes on where it stopped.

The first time, devices are chosen and each microphone is touched in turn, so that
left and right cannot be mixed up; both are kept in DIR/bench.toml. A listener's
row plays nothing before the level of that model was checked on the fixture and
the cautions were confirmed, in this session, nor above the limit. Any key stops
the sound at once.

Of a study with several fixtures one stands on the bench: --fixture names it, else it
is asked for.

With --model one fixture seating after the other is recorded and judged, each
under a number of its own. With --from the takes come from a folder into which
another recorder writes; its files are copied, never moved or changed. With
--page the same is driven from a page on the loopback address, by keys or touch.

Sound cards need a build with '-tags soundcard' and a C compiler; --from does not.`,
		Example: `  asworn record my-study
  asworn record my-study --model "Model B"
  asworn record my-study --from /media/recorder
  asworn record my-study --page --open`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opt.settle(cmd.Flags().Changed); err != nil {
				return err
			}
			return recordSession(cmd.Context(), c, sound, args[0], opt)
		},
	}
	cmd.ValidArgsFunction = console.Folders
	f := cmd.Flags()
	f.StringVar(&opt.model, "model", "", "record fixture seatings of this model, one after the other, outside the plan")
	f.StringVar((*string)(&opt.point), "point", "", "with --model: the point, blocked or drum (default: where the plan has most of its seatings)")
	console.Complete(cmd, "point", string(capture.Blocked), string(capture.Drum))
	f.StringVar(&opt.fixture, "fixture", "", "which fixture, of a study that declares several (DIR@NAME says the same)")
	console.CompleteModels(cmd, "model")
	f.StringVar(&opt.listener, "add-listener", "", "add the rows of one more listener with this `ID` to the plan: those of the one who has most, in an order drawn anew")
	f.StringVar(&opt.from, "from", "", "take the WAV files that another recorder writes into this `FOLDER`, in order")
	f.StringVar(&opt.choice.Playback, "playback", "", "playback device: its name, or a part that no other has")
	f.StringVar(&opt.choice.Capture, "capture", "", "recording device: its name, or a part that no other has")
	f.IntSliceVar(&opt.choice.Outputs, "outputs", nil, "outputs that play, counted from 1 (default 1,2)")
	f.Float64Var(&opt.limit, "limit", bench.DefaultLimitDB, "highest level at a listener's ear, dB(A) SPL; local rules come first")
	f.BoolVar(&opt.choice.Setup, "setup", false, "choose devices and touch the microphones again")
	f.BoolVar(&opt.page, "page", false, "drive it from a page on the loopback address instead of the terminal")
	opt.serve.Flags(f)
	f.BoolVar(&opt.devices, "devices", false, "list the sound devices and end")
	return cmd
}

// settle holds the flags that were given against each other.
func (opt *recordOptions) settle(given func(flag string) bool) error {
	if given("add-listener") && strings.TrimSpace(opt.listener) == "" {
		return console.Usagef("--add-listener %q: want an id, as in L09", opt.listener)
	}
	if opt.from != "" && opt.model != "" {
		return console.Usagef("--from takes the rows of the plan; leave --model out")
	}
	if p := opt.point; p != "" && (opt.model == "" || p != capture.Blocked && p != capture.Drum) {
		return console.Usagef("--point %q: want %s or %s, and --model with it", p, capture.Blocked, capture.Drum)
	}
	if err := opt.serve.Check(); err != nil {
		return err
	}
	if !given("limit") {
		opt.limit = 0
	} else if !(opt.limit >= 40 && opt.limit <= 94) {
		return console.Usagef("--limit %g: want 40 to 94 dB(A)", opt.limit)
	}
	return nil
}

func recordSession(ctx context.Context, c *console.Console, sound func() (audio.System, error), dir string, opt recordOptions) error {
	var sys audio.System
	if opt.from == "" {
		var err error
		if sys, err = sound(); err != nil {
			return err
		}
	}
	if opt.devices {
		if sys == nil {
			return console.Usagef("--devices lists sound devices; leave --from out")
		}
		return listDevices(c, sys)
	}
	var t *record.Terminal // nil where a page drives, once the bench is set up
	if !opt.page || opt.choice.Setup {
		var err error
		if t, err = record.Open(c); err != nil {
			return err
		}
		defer t.Close()
	}
	var ask func([]string) (int, error)
	if t != nil {
		ask = func(names []string) (int, error) {
			return t.Pick(ctx, "Which fixture stands on the bench?", names)
		}
	}
	address, err := console.Fixture(dir, opt.fixture, ask)
	if err != nil {
		return err
	}
	changed := make(chan struct{}, 1)
	step, end := c.Progress("recordings")
	desk, err := bench.Open(ctx, address, bench.Options{System: sys, Model: opt.model, Point: opt.point, Listener: strings.TrimSpace(opt.listener), Jobs: c.Jobs, Progress: step, Changed: func() {
		select {
		case changed <- struct{}{}:
		default:
		}
	}})
	end()
	if err != nil {
		return err
	}
	defer desk.Close()
	if opt.limit > 0 {
		if err := desk.Sound().Limit(opt.limit); err != nil {
			return err
		}
	}
	if sys != nil {
		if err := record.Prepare(ctx, t, desk, sys, opt.choice); err != nil {
			return err
		}
	} else if err := desk.Watch(opt.from, time.Second); err != nil {
		return err
	}
	if opt.page {
		if desk.Study().HasListeners() { // before a listener's row either shows the cautions whole
			c.Reminder(desk.Study().Dir)
		}
		t.Close() // Ctrl-C ends the page again
		return loopback.Serve(ctx, c, record.Page(address, desk), opt.serve)
	}
	return t.Walk(ctx, desk, changed)
}

func listDevices(c *console.Console, sys audio.System) error {
	playback, recording, err := sys.Devices()
	if err != nil {
		return err
	}
	for _, way := range []struct {
		name    string
		devices []audio.Device
	}{{"playback", playback}, {"recording", recording}} {
		for _, d := range way.devices {
			fmt.Fprintf(c.Out, "%s\t%s\n", way.name, record.DeviceWords(d))
		}
	}
	return nil
}
