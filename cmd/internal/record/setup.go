package record

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"asworn/capture/audio"
	"asworn/cmd/internal/bench"
	"asworn/cmd/internal/hearing"
)

// Choice is what the command line says about devices; empty fields are asked for.
type Choice struct {
	Playback, Capture string // a device's name, or a part that no other has
	Outputs           []int  // that play, counted from 1
	Setup             bool   // ask again for what is known
}

// DeviceWords describes a device in one line.
func DeviceWords(d audio.Device) string {
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
	if d.Closed {
		out += ", cannot be opened now"
	}
	if d.Default {
		out += ", default"
	}
	return out
}

// Prepare chooses devices and finds which input is which, where that is not
// known yet, or where either is asked for; a nil t is where nobody can be asked.
func Prepare(ctx context.Context, t *Terminal, desk *bench.Desk, sys audio.System, choice Choice) error {
	missing := desk.Sound().Ready()
	if missing == nil && !choice.Setup && choice.Playback == "" && choice.Capture == "" && choice.Outputs == nil {
		return nil
	}
	playback, recording, err := sys.Devices()
	if err != nil {
		return err
	}
	if t == nil {
		if missing == nil {
			missing = errors.New("devices are chosen in a terminal")
		}
		return fmt.Errorf("%w; run 'asworn record' in a terminal once, to choose devices and touch the microphones, or give --setup", missing)
	}
	if missing != nil && !errors.Is(missing, bench.ErrUnchosen) { // a device that is gone, say
		t.say("%v", missing)
	}
	out, err := t.choose(ctx, "Play on", playback, choice.Playback)
	if err != nil {
		return err
	}
	in, err := t.choose(ctx, "Record from", recording, choice.Capture)
	if err != nil {
		return err
	}
	if err := desk.Sound().Choose(out, in, choice.Outputs); err != nil {
		return err
	}
	if desk.Sound().Ready() == nil && !choice.Setup {
		return nil
	}
	return t.tapTest(ctx, desk, len(choice.Outputs) != 1)
}

// tapTest has each microphone touched, one after the other.
func (t *Terminal) tapTest(ctx context.Context, desk *bench.Desk, sides bool) error {
	var found hearing.Inputs
	want := desk.Sound().Wants()
	for i, side := range []struct {
		name string
		want int
		to   *int
	}{{"left", want.Left, &found.Left}, {"right", want.Right, &found.Right}} {
		for side.want > 0 && *side.to == 0 {
			keys := "Press Enter and then touch it twice, lightly, within four seconds"
			if sides && want.Loopback == 0 {
				keys += "; p plays that side alone, low, with the headphone on the fixture and nobody wearing it"
			}
			t.say("\nThe %s microphone: which input is it on? %s.", strings.ToUpper(side.name), keys)
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
				*side.to = input
				t.say("The %s microphone is on input %d.", side.name, input)
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

// choose asks for one of several devices; where there is nothing to ask it says which
// one is taken.
func (t *Terminal) choose(ctx context.Context, what string, devices []audio.Device, given string) (audio.Device, error) {
	if given != "" || len(devices) < 2 {
		d, err := audio.Find(devices, given)
		if err == nil {
			t.say("%s %s.", what, DeviceWords(d))
		}
		return d, err
	}
	var names []string
	for _, d := range devices {
		names = append(names, DeviceWords(d))
	}
	i, err := t.Pick(ctx, what+" which device?", names)
	if err != nil {
		return audio.Device{}, err
	}
	return devices[i], nil
}
