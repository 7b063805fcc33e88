package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/study"
	"asworn/cmd/internal/bench"
)

type recordOptions struct {
	model, from       string
	fixture           string
	point             capture.Point
	playback, capture string
	outputs           []int
	limit             float64
	setup, devices    bool
	page              bool
	serve             pageOptions
}

func recordCommand(a *app) *cobra.Command {
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
			if opt.from != "" && opt.model != "" {
				return usagef("--from takes the rows of the plan; leave --model out")
			}
			if p := opt.point; p != "" && (opt.model == "" || p != capture.Blocked && p != capture.Drum) {
				return usagef("--point %q: want %s or %s, and --model with it", p, capture.Blocked, capture.Drum)
			}
			if err := opt.serve.check(); err != nil {
				return err
			}
			if cmd.Flags().Changed("limit") && !(opt.limit >= 40 && opt.limit <= 94) {
				return usagef("--limit %g: want 40 to 94 dB(A)", opt.limit)
			}
			if !cmd.Flags().Changed("limit") {
				opt.limit = 0
			}
			return recordSession(cmd.Context(), a, args[0], opt)
		},
	}
	cmd.ValidArgsFunction = folders
	f := cmd.Flags()
	f.StringVar(&opt.model, "model", "", "record fixture seatings of this model, one after the other, outside the plan")
	f.StringVar((*string)(&opt.point), "point", "", "with --model: the point, blocked or drum (default: where the plan has most of its seatings)")
	complete(cmd, "point", string(capture.Blocked), string(capture.Drum))
	f.StringVar(&opt.fixture, "fixture", "", "which fixture, of a study that declares several (DIR@NAME says the same)")
	completeModels(cmd, "model")
	f.StringVar(&opt.from, "from", "", "take the WAV files that another recorder writes into this `FOLDER`, in order")
	f.StringVar(&opt.playback, "playback", "", "playback device: its name, or a part that no other has")
	f.StringVar(&opt.capture, "capture", "", "recording device: its name, or a part that no other has")
	f.IntSliceVar(&opt.outputs, "outputs", nil, "outputs that play, counted from 1 (default 1,2)")
	f.Float64Var(&opt.limit, "limit", bench.DefaultLimitDB, "highest level at a listener's ear, dB(A) SPL; local rules come first")
	f.BoolVar(&opt.setup, "setup", false, "choose devices and touch the microphones again")
	f.BoolVar(&opt.page, "page", false, "drive it from a page on the loopback address instead of the terminal")
	opt.serve.flags(f)
	f.BoolVar(&opt.devices, "devices", false, "list the sound devices and end")
	return cmd
}

func recordSession(ctx context.Context, a *app, dir string, opt recordOptions) error {
	var sys audio.System
	if opt.from == "" {
		var err error
		if sys, err = a.sound(); err != nil {
			return err
		}
	}
	if opt.devices {
		if sys == nil {
			return usagef("--devices lists sound devices; leave --from out")
		}
		return listDevices(a, sys)
	}
	var t *terminalUI // nil where a page drives, once the bench is set up
	if !opt.page || opt.setup {
		var err error
		if t, err = openTerminal(a); err != nil {
			return err
		}
		defer t.close()
	}
	address, err := whichFixture(ctx, t, dir, opt.fixture)
	if err != nil {
		return err
	}
	changed := make(chan struct{}, 1)
	step, end := a.progress("recordings")
	desk, err := bench.Open(ctx, address, bench.Options{System: sys, Model: opt.model, Point: opt.point, Jobs: a.jobs, Progress: step, Changed: func() {
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
		if err := prepare(ctx, a, t, desk, sys, opt); err != nil {
			return err
		}
	} else if err := desk.Watch(opt.from, time.Second); err != nil {
		return err
	}
	if opt.page {
		if hasListeners(desk.Study()) { // before a listener's row either shows the cautions whole
			a.reminder(desk.Study().Dir)
		}
		t.close() // Ctrl-C ends the page again
		return recordPage(ctx, a, address, desk, opt.serve)
	}
	return t.walk(ctx, desk, changed)
}

// whichFixture is the address of what is recorded: of a study with several
// fixtures, what the one that was named sees, in the address or by itself; else it is
// asked for.
func whichFixture(ctx context.Context, t *terminalUI, address, name string) (string, error) {
	dir, given := study.Split(address)
	switch {
	case name != "" && given != "" && !strings.EqualFold(name, given):
		return "", usagef("%s and --fixture %s are two fixtures: name one", address, name)
	case name != "":
		return study.At(dir, name), nil
	}
	names := study.FixturesOf(dir)
	if given != "" || len(names) < 2 {
		return address, nil
	}
	if t == nil {
		return "", usagef("%s declares several fixtures: name the one that stands on the bench with --fixture, %s", dir, strings.Join(names, " or "))
	}
	i, err := t.pick(ctx, "Which fixture stands on the bench?", names)
	if err != nil {
		return "", err
	}
	return study.At(dir, names[i]), nil
}

func listDevices(a *app, sys audio.System) error {
	playback, recording, err := sys.Devices()
	if err != nil {
		return err
	}
	for _, way := range []struct {
		name    string
		devices []audio.Device
	}{{"playback", playback}, {"recording", recording}} {
		for _, d := range way.devices {
			fmt.Fprintf(a.out, "%s\t%s\n", way.name, deviceWords(d))
		}
	}
	return nil
}

func deviceWords(d audio.Device) string {
	out := d.Name
	if d.Channels > 0 {
		out += fmt.Sprintf(", %d channels", d.Channels)
	}
	if len(d.RatesHz) > 0 {
		out += ", " + strings.Trim(strings.ReplaceAll(fmt.Sprint(d.RatesHz), " ", " or "), "[]") + " Hz"
	}
	if d.Format != "" {
		out += ", " + d.Format
	}
	if d.Default {
		out += ", default"
	}
	return out
}

// prepare chooses devices and finds which input is which, where that is not
// known yet.
func prepare(ctx context.Context, a *app, t *terminalUI, desk *bench.Desk, sys audio.System, opt recordOptions) error {
	missing := desk.Sound().Ready()
	if missing == nil && !opt.setup && opt.playback == "" && opt.capture == "" && opt.outputs == nil {
		return nil
	}
	if t == nil {
		if missing == nil {
			missing = errors.New("devices are chosen in a terminal")
		}
		return fmt.Errorf("%w; run 'asworn record' in a terminal once, to choose devices and touch the microphones, or give --setup", missing)
	}
	playback, recording, err := sys.Devices()
	if err != nil {
		return err
	}
	out, err := t.choose(ctx, "Play on which device?", playback, opt.playback)
	if err != nil {
		return err
	}
	in, err := t.choose(ctx, "Record from which device?", recording, opt.capture)
	if err != nil {
		return err
	}
	if err := desk.Sound().Choose(out, in, opt.outputs); err != nil {
		return err
	}
	if desk.Sound().Ready() == nil && !opt.setup {
		return nil
	}
	return t.tapTest(ctx, desk, len(opt.outputs) != 1)
}

// tapTest has each microphone touched, one after the other.
func (t *terminalUI) tapTest(ctx context.Context, desk *bench.Desk, sides bool) error {
	var found bench.Inputs
	want := desk.Sound().Wants()
	for i, c := range []struct {
		name string
		want int
		to   *int
	}{{"left", want.Left, &found.Left}, {"right", want.Right, &found.Right}} {
		for c.want > 0 && *c.to == 0 {
			keys := "Press Enter and then touch it twice, lightly, within four seconds"
			if sides && want.Loopback == 0 {
				keys += "; p plays that side alone, low, with the headphone on the fixture and nobody wearing it"
			}
			t.say("\nThe %s microphone: which input is it on? %s.", strings.ToUpper(c.name), keys)
			var input int
			var err error
			switch key, e := t.key(ctx); {
			case e != nil:
				return e
			case key == 'p' && sides && want.Loopback == 0:
				t.say("playing …")
				input, err = desk.Sound().PlaySide(ctx, i+1)
			case key == '\r' || key == '\n':
				t.say("listening …")
				input, err = desk.Sound().Tap(ctx)
			case key == 'q' || key == ctrlC:
				return errQuit
			default:
				continue
			}
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case err != nil:
				t.say("%v", err)
			case input == found.Left || input == found.Right:
				t.say("Input %d is the other microphone's already.", input)
			default:
				*c.to = input
				t.say("The %s microphone is on input %d.", c.name, input)
			}
		}
	}
	for want.Loopback > 0 && found.Loopback == 0 {
		t.say("\nThe LOOPBACK, the cable from an output to an input: headphone on the fixture, nobody wears it? y plays the sweep, low, and finds it.")
		key, err := t.key(ctx)
		switch {
		case err != nil:
			return err
		case key == 'q' || key == ctrlC:
			return errQuit
		case key != 'y':
			continue
		}
		t.say("playing …")
		input, err := desk.Sound().PlaySide(ctx, 1, found.Left, found.Right)
		if err != nil {
			t.say("%v", err)
			continue
		}
		found.Loopback = input
		t.say("The loopback is on input %d.", input)
	}
	return desk.Sound().SetInputs(found)
}

// choose asks for one of several devices.
func (t *terminalUI) choose(ctx context.Context, question string, devices []audio.Device, given string) (audio.Device, error) {
	if given != "" || len(devices) < 2 {
		return audio.Find(devices, given)
	}
	var names []string
	for _, d := range devices {
		names = append(names, deviceWords(d))
	}
	i, err := t.pick(ctx, question, names)
	if err != nil {
		return audio.Device{}, err
	}
	return devices[i], nil
}

// pick asks for one of several names and returns its index.
func (t *terminalUI) pick(ctx context.Context, question string, names []string) (int, error) {
	for {
		t.say("\n%s", question)
		for i, name := range names {
			t.say("  %d  %s", i+1, name)
		}
		line, err := t.line(ctx, "number: ")
		if err != nil {
			return 0, err
		}
		if n, err := strconv.Atoi(line); err == nil && n >= 1 && n <= len(names) {
			return n - 1, nil
		}
		t.say("%q is none of them.", line)
	}
}

const ctrlC, escape = 3, 27

// errQuit ends a session by the operator's wish.
var errQuit = errors.New("ended before the first row; the same command goes on")

// openTerminal takes the keyboard key by key.
func openTerminal(a *app) (*terminalUI, error) {
	in, ok := a.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) || terminal(a.out) == nil {
		return nil, usagef("this needs a terminal; --page drives it from a browser")
	}
	old, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return nil, err
	}
	t := &terminalUI{a: a, in: in, old: old, keys: make(chan byte, 64)}
	go func() {
		defer close(t.keys)
		buf := make([]byte, 64)
		for {
			n, err := in.Read(buf)
			if err != nil {
				return
			}
			for _, b := range buf[:n] {
				t.keys <- b
			}
		}
	}()
	return t, nil
}

// reading parses what was typed as a position read.
func typedReading(line string) (*capture.Reading, error) {
	return parseReading(strings.Join(strings.Fields(strings.ReplaceAll(line, ",", " ")), ","))
}
