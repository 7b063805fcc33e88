package console

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/fatih/color"
	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/cmd/internal/studydir"
	"asworn/docs"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/text"
)

// Terminal returns the file behind w when it is a terminal, else nil.
func Terminal(w io.Writer) *os.File {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return f
	}
	return nil
}

// Coloured reports whether w may hold colour (https://no-color.org).
func Coloured(w io.Writer) bool {
	return Terminal(w) != nil && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

// TableOptions are those of tables on Out: its width and colour, where it is a terminal.
func (c *Console) TableOptions() table.Options {
	opt := table.Options{Color: Coloured(c.Out)}
	if f := Terminal(c.Out); f != nil {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil && width > 0 {
			opt.Width = min(width, 120)
		}
	}
	return opt
}

// Note tells the operator something on stderr.
func (c *Console) Note(format string, args ...any) {
	if !c.Quiet {
		fmt.Fprintln(c.Err, Shown(fmt.Sprintf(format, args...)))
	}
}

// mostShown is how many characters of one line are shown.
const mostShown = 1000

// Shown makes a text that may hold what stands in a file fit for a terminal:
// nothing in it drives the terminal, and no line is endless.
func Shown(s string) string {
	lines := strings.Split(s, "\n")
	for i, line := range lines {
		lines[i] = text.Bounded(text.Printable(line), mostShown)
	}
	return strings.Join(lines, "\n")
}

// Cautions prints the page for sessions with listeners.
func (c *Console) Cautions() { c.Note("%s", docs.PlainCautions()) }

// Reminder is the one line that stands for the cautions where they were shown
// in full before.
func (c *Console) Reminder(dir string) {
	c.Note("listeners: start at a low level, never push a microphone deep, stop on discomfort; %s says the rest", filepath.Join(dir, studydir.CautionsFile))
}

// Finding prints what was found about one file: where, how bad, what, and the
// mend below.
func (c *Console) Finding(where string, f capture.Finding) {
	c.Joint(where, finding.Joint{Finding: f})
}

// Joint is Finding of all the channels that have it.
func (c *Console) Joint(where string, f finding.Joint) {
	if c.Quiet && f.Severity < capture.Refusal {
		return
	}
	paint := color.New(map[capture.Severity]color.Attribute{
		capture.Note: color.Reset, capture.Warning: color.FgYellow, capture.Refusal: color.FgRed}[f.Severity])
	paint.DisableColor()
	if Coloured(c.Err) {
		paint.EnableColor()
	}
	channel := ""
	if f.Channel != "" {
		channel = f.Channel + " channel: "
		if len(f.Channels) > 1 {
			channel = f.Channel + " channels: "
		}
	}
	message := channel + f.Message
	if f.Mend != "" {
		message += "; " + f.Mend
	}
	fmt.Fprintf(c.Err, "%s: %s: %s\n", Shown(where), paint.Sprint(f.Severity), Shown(message))
}

// Findings prints what was found about a study's recordings; what many of them share
// is printed for the first few.
func (c *Console) Findings(recordings []report.Recording) {
	found := make([][]finding.Joint, len(recordings))
	for i, rec := range recordings {
		found[i] = finding.ByCause(rec.Findings)
	}
	repeats := finding.NewRepeats(found)
	for i, rec := range recordings {
		for _, f := range found[i] {
			if repeats.Show(f, rec.Row) {
				c.Joint(fmt.Sprintf("%s (row %d)", rec.File, rec.Row), f)
			}
		}
	}
	for _, more := range repeats.Rest() {
		more.First.Message, more.First.Channel = fmt.Sprintf("as row %d", more.Row), ""
		c.Joint(more.String(), more.First)
	}
}

// Progress returns a function that shows how much of a task is done, on a
// terminal only, and one that ends the display.
func (c *Console) Progress(what string) (step func(done, total int), end func()) {
	f := Terminal(c.Err)
	if f == nil || c.Quiet {
		return func(int, int) {}, func() {}
	}
	var bar *progressbar.ProgressBar
	step = func(done, total int) {
		if bar == nil {
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
				progressbar.OptionShowCount(), progressbar.OptionThrottle(100*time.Millisecond),
				progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
		}
		_ = bar.Set(done) // a display that fails is no reason to stop
	}
	return step, func() {
		if bar != nil {
			_ = bar.Finish()
		}
	}
}

// Busy shows, on a terminal only, that something without a count is being
// done, until the function that it returns is called.
func (c *Console) Busy(what string) (end func()) {
	f := Terminal(c.Err)
	if f == nil || c.Quiet {
		return func() {}
	}
	bar := progressbar.NewOptions(-1, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
		progressbar.OptionSpinnerType(14), progressbar.OptionSetRenderBlankState(true), progressbar.OptionClearOnFinish())
	return func() { _ = bar.Finish() }
}
