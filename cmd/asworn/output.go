package main

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
	"asworn/cmd/internal/pipeline"
	"asworn/docs"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/text"
)

// terminal returns the file behind w when it is a terminal, else nil.
func terminal(w io.Writer) *os.File {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return f
	}
	return nil
}

// coloured reports whether w may hold colour (https://no-color.org).
func coloured(w io.Writer) bool {
	return terminal(w) != nil && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

func (a *app) tableOptions() table.Options {
	opt := table.Options{Color: coloured(a.out)}
	if f := terminal(a.out); f != nil {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil && width > 0 {
			opt.Width = min(width, 120)
		}
	}
	return opt
}

// note tells the operator something on stderr.
func (a *app) note(format string, args ...any) {
	if !a.quiet {
		fmt.Fprintln(a.err, shown(fmt.Sprintf(format, args...)))
	}
}

// mostShown is how many characters of one line are shown.
const mostShown = 1000

// shown makes a text that may hold what stands in a file fit for a terminal:
// nothing in it drives the terminal, and no line is endless.
func shown(s string) string {
	lines := strings.Split(s, "\n")
	for i, line := range lines {
		lines[i] = text.Bounded(text.Printable(line), mostShown)
	}
	return strings.Join(lines, "\n")
}

// cautions prints the page for sessions with listeners.
func (a *app) cautions() { a.note("%s", plainCautions()) }

// plainCautions is that page as plain text.
func plainCautions() string {
	page := strings.ReplaceAll(docs.Cautions(), "**", "")
	return strings.ReplaceAll(strings.TrimPrefix(page, "# "), "`", "'")
}

// reminder is the one line that stands for the cautions where they were shown
// in full before.
func (a *app) reminder(dir string) {
	a.note("listeners: start at a low level, never push a microphone deep, stop on discomfort; %s says the rest", filepath.Join(dir, pipeline.CautionsFile))
}

// finding prints what was found about one file: where, how bad, what, and the
// mend below.
func (a *app) finding(where string, f capture.Finding) {
	if a.quiet && f.Severity < capture.Refusal {
		return
	}
	paint := color.New(map[capture.Severity]color.Attribute{
		capture.Note: color.Reset, capture.Warning: color.FgYellow, capture.Refusal: color.FgRed}[f.Severity])
	paint.DisableColor()
	if coloured(a.err) {
		paint.EnableColor()
	}
	channel := ""
	if f.Channel != "" {
		channel = f.Channel + " channel: "
		if strings.Contains(f.Channel, " and ") {
			channel = f.Channel + " channels: "
		}
	}
	message := channel + f.Message
	if f.Mend != "" {
		message += "; " + f.Mend
	}
	fmt.Fprintf(a.err, "%s: %s: %s\n", shown(where), paint.Sprint(f.Severity), shown(message))
}

// findings prints what was found about a study's recordings; what many of them share
// is printed for the first few.
func (a *app) findings(recordings []report.Recording) {
	found := make([][]capture.Finding, len(recordings))
	for i, rec := range recordings {
		found[i] = finding.ByCause(rec.Findings)
	}
	repeats := finding.NewRepeats(found)
	for i, rec := range recordings {
		for _, f := range found[i] {
			if repeats.Show(f, rec.Row) {
				a.finding(fmt.Sprintf("%s (row %d)", rec.File, rec.Row), f)
			}
		}
	}
	for _, more := range repeats.Rest() {
		more.First.Message, more.First.Channel = fmt.Sprintf("as row %d", more.Row), ""
		a.finding(more.String(), more.First)
	}
}

// progress returns a function that shows how much of a task is done, on a
// terminal only, and one that ends the display.
func (a *app) progress(what string) (step func(done, total int), end func()) {
	f := terminal(a.err)
	if f == nil || a.quiet {
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

// busy shows, on a terminal only, that something without a count is being
// done, until the function that it returns is called.
func (a *app) busy(what string) (end func()) {
	f := terminal(a.err)
	if f == nil || a.quiet {
		return func() {}
	}
	bar := progressbar.NewOptions(-1, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription(what),
		progressbar.OptionSpinnerType(14), progressbar.OptionSetRenderBlankState(true), progressbar.OptionClearOnFinish())
	return func() { _ = bar.Finish() }
}
