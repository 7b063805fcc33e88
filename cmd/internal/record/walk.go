package record

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/fatih/color"

	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/cmd/internal/bench"
	"asworn/cmd/internal/console"
	"asworn/report/table"
)

// Walk shows the desk until the operator quits or no row is left.
func (t *Terminal) Walk(ctx context.Context, desk *bench.Desk, changed <-chan struct{}) error {
	meters := time.NewTicker(100 * time.Millisecond)
	defer meters.Stop()
	t.draw(desk.Screen())
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-changed:
		case <-meters.C:
			if desk.Screen().Phase != bench.Playing {
				continue
			}
		case k, ok := <-t.keys:
			if !ok {
				return errors.New("the terminal is gone; what was recorded is kept")
			}
			if t.press(desk, k) {
				t.say("\nWhat was recorded is kept; the same command goes on.")
				return nil
			}
		}
		t.draw(desk.Screen())
	}
}

// press hands one key on; it reports whether the operator quits.
func (t *Terminal) press(desk *bench.Desk, k byte) (quit bool) {
	s := desk.Screen()
	t.tell = ""
	if s.Phase == bench.Playing && s.From == "" { // any key
		desk.Press(bench.Other)
		return false
	}
	if ask := t.asking; ask == askFixture || ask == askDrop {
		t.asking = ""
		switch {
		case k == 'y' && ask == askFixture:
			desk.CheckLevel()
		case k == 'y':
			desk.Press(bench.Drop)
		}
		return false
	}
	if s.Phase == bench.Caution && t.cautions.more() && (k == '\r' || k == '\n' || k == ' ' || k == 'y') {
		t.cautions.at++
		return false
	}
	if t.asking != "" {
		t.typing(desk, k)
		return false
	}
	switch k {
	case 'q', ctrlC:
		return true
	case '\r', '\n', ' ':
		desk.Press(bench.Enter)
	case 'y':
		desk.Press(bench.Confirm)
	case '>':
		desk.Press(bench.Next)
	case 'a', 'u':
		desk.Press(bench.Again)
	case 'b':
		desk.Press(bench.Back)
	case 's':
		desk.Press(bench.Skip)
	case '+':
		desk.Press(bench.Repeat)
	case 'x':
		if s.Offer != "" { // the file, which stays where it is
			desk.Press(bench.Drop)
		} else if s.Phase == bench.Ready && !s.Recorded && !s.Taps {
			t.asking = askDrop
		}
	case 'n':
		t.asking = askNote
	case 'r':
		t.asking = askReading
	}
	if s.From == "" {
		switch k {
		case 'v':
			t.asking = askLevel
		case 'l':
			t.asking = askFixture
		case 'k':
			desk.SetGain(1)
		case 'j':
			desk.SetGain(-1)
		}
	}
	return false
}

func (t *Terminal) typing(desk *bench.Desk, k byte) {
	switch k {
	case escape, ctrlC:
		t.asking, t.typed = "", nil
	case '\r', '\n':
		line, what := strings.TrimSpace(string(t.typed)), t.asking
		t.asking, t.typed = "", nil
		switch what {
		case askNote:
			desk.Note(line)
		case askReading:
			r, ok := study.ParseReading(line)
			if !ok {
				t.tell = "a reading is two numbers of mm, forward then up, as in -31.5 12"
				return
			}
			desk.Read(r)
		case askLevel:
			db, err := strconv.ParseFloat(strings.Replace(line, ",", ".", 1), 64)
			if err != nil {
				t.tell = fmt.Sprintf("%q is not a number of dB(A)", line)
				return
			}
			desk.ReadLevel(db)
		}
	default:
		t.typed = editLine(t.typed, k)
	}
}

// sheet is a screen that is being written.
type sheet struct {
	strings.Builder
	width int
	color bool
}

// coloured writes lines in the attributes given, folded.
func (p *sheet) coloured(text string, attribute ...color.Attribute) {
	c := color.New(attribute...)
	if p.color {
		c.EnableColor()
	} else {
		c.DisableColor()
	}
	for l := range strings.SplitSeq(console.Shown(text), "\n") {
		for l := range strings.SplitSeq(table.Fold(l, p.width), "\n") {
			fmt.Fprintln(p, c.Sprint(l))
		}
	}
}

func (p *sheet) line(format string, args ...any) { p.coloured(fmt.Sprintf(format, args...)) }

// draw shows everything anew.
func (t *Terminal) draw(s bench.Screen) {
	width, height := t.size()
	p := &sheet{width: width, color: console.Coloured(t.c.Out)}
	if s.Phase == bench.Caution {
		shown, more := t.cautions.leaf(height - 8)
		fmt.Fprintf(p, "%s\n\n", shown)
		if more {
			p.coloured("Enter shows more of the cautions, b goes back.", color.Bold)
			t.show(p)
			return
		}
	} else {
		t.cautions = leaves{}
	}
	if !s.One { // which has no end that a plan knows
		p.line("%s\n", leftWords(s.Left, s.Minutes))
	}
	p.coloured("    "+s.Title, color.Bold)
	p.phase(s)
	for _, m := range []string{s.Message, t.tell} {
		if m != "" {
			p.line("%s", m)
		}
	}
	fmt.Fprintln(p)
	if s.From != "" {
		p.line("files from %s", s.From)
	} else {
		p.line("%s", s.Safety)
	}
	if s.From != "" && s.Offer != "" {
		p.line("%s: Enter takes it, x leaves it out", offerWords(s))
	}
	switch s.Phase {
	case bench.Ready, bench.Judged, bench.Finished:
		for _, keys := range keyWords(s) {
			p.line("%s", keys)
		}
	}
	if t.asking != "" {
		fmt.Fprintln(p)
		p.coloured(string(t.asking)+": "+string(t.typed), color.Bold)
	}
	t.show(p)
}

// phase says what is being done with the row, or what came of it.
func (p *sheet) phase(s bench.Screen) {
	switch s.Phase {
	case bench.Playing:
		p.line("playing %s. ANY KEY STOPS.", s.Now)
		for _, of := range s.Peaks {
			db := 20 * math.Log10(math.Max(of.Value, 1e-6))
			p.line("%s", finding.Text("  %-8s %s %4.0f dB", of.Channel, bar(db), db))
		}
	case bench.Judging:
		p.line("judging %s …", s.Now)
	case bench.Caution:
		p.coloured("Have you and the listener been through these cautions and your local rules? y confirms them for this session, b goes back.", color.Bold)
	case bench.Judged:
		tone := map[table.Tone]color.Attribute{table.Good: color.FgGreen, table.Act: color.FgYellow, table.Unsure: color.FgCyan, table.Bad: color.FgRed}
		keep := "keep"
		if !s.Result.Keep {
			keep = "again"
		}
		p.coloured(fmt.Sprintf("    %s: %s", strings.ToUpper(keep), s.Result.Word), color.Bold, tone[s.Result.Tone])
		if s.Result.Placed {
			p.line("    estimated place, against the sample mean: %s, %s", moved(s.Result.ForwardMM, "forward", "back"), moved(s.Result.UpMM, "up", "down"))
		}
		for _, d := range s.Result.Do {
			p.line("    %s", d)
		}
		for _, d := range s.Result.More {
			p.line("  %s", d)
		}
	case bench.Finished:
		p.line("Every row is recorded. Run the study: asworn run")
	case bench.Ready:
		if note := recordedWords(s); note != "" {
			p.line("%s", note)
		}
	}
}

// show puts a whole screen in the place of the one before.
func (t *Terminal) show(p *sheet) {
	head := "\x1b[H\x1b[2J"
	if os.Getenv("TERM") == "dumb" {
		head = "\n"
	}
	fmt.Fprint(t.c.Out, head+strings.ReplaceAll(p.String(), "\n", "\r\n"))
}
