package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/audio"
)

// Exit codes of every command.
const (
	exitDone     = 0
	exitFailed   = 1
	exitUsage    = 2
	exitOperator = 3 // done, and some seating needs the operator
)

// errOperator ends a command that did its work and found something for the
// operator to do. What that is has been told by then.
var errOperator = errors.New("some seating needs the operator")

// usageError marks a wrong command line.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// app is what all commands share.
type app struct {
	in       io.Reader
	out, err io.Writer
	sound    func() (audio.System, error)
	json     bool
	jobs     int
	quiet    bool
	started  bool // a command's own work has begun: errors are no longer those of usage
}

// execute runs one command line and returns the exit code.
func execute(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	return (&app{in: os.Stdin, out: stdout, err: stderr, sound: audio.Open}).execute(ctx, args)
}

func (a *app) execute(ctx context.Context, args []string) int {
	stderr := a.err
	root := rootCommand(a)
	root.SetArgs(args)
	root.SetOut(a.out)
	root.SetErr(a.err)
	cmd, err := root.ExecuteContextC(ctx)
	var usage usageError
	switch {
	case err == nil:
		return exitDone
	case errors.Is(err, errOperator):
		return exitOperator
	case errors.As(err, &usage) || !a.started:
		fmt.Fprintf(stderr, "asworn: %s\nTry '%s --help'.\n", shown(err.Error()), cmd.CommandPath())
		return exitUsage
	case ctx.Err() != nil && errors.Is(err, ctx.Err()):
		fmt.Fprintln(stderr, "asworn: interrupted; what was finished is kept, run the same command to continue")
		return exitFailed
	}
	printError(stderr, err)
	return exitFailed
}

// mostErrors is how many errors are worth reading at once.
const mostErrors = 50

// printError prints one line for each of several joined errors, and how many
// more there are; those of a study that have one cause share a line.
func printError(w io.Writer, err error) {
	all := lines(err)
	for _, line := range all[:min(len(all), mostErrors)] {
		fmt.Fprintf(w, "asworn: %s\n", shown(line))
	}
	if more := len(all) - mostErrors; more > 0 {
		fmt.Fprintf(w, "asworn: and %d more; correct these first\n", more)
	}
}

// lines is what the errors that were joined in one say, in their order.
func lines(err error) []string {
	if wrong, ok := err.(capture.StudyErrors); ok {
		return wrong.Lines()
	}
	many, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []string{err.Error()}
	}
	var out []string
	for _, e := range many.Unwrap() {
		out = append(out, lines(e)...)
	}
	return out
}

func rootCommand(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "asworn",
		Short: "Make a headphone measurement on a fixture count for the way people wear it",
		Long: `asworn judges how a headphone was seated on a measurement fixture against how
people wear it: which fixture seatings to use, which to move and where, and
what the recordings cannot tell.

Tables go to stdout, progress and findings to stderr.
Exit codes: 0 done; 1 the work could not be done; 2 wrong usage; 3 done, and
some seating needs the operator.`,
		Example: `  asworn demo
  asworn new my-study --models "Model A,Model B" --listeners 8
  asworn run my-study`,
		Version:       version(),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		PersistentPreRunE: func(*cobra.Command, []string) error {
			if a.jobs < 1 {
				return usagef("--jobs %d: want 1 or more", a.jobs)
			}
			a.started = true
			return nil
		},
	}
	root.CompletionOptions.HiddenDefaultCmd = false
	flags := root.PersistentFlags()
	flags.BoolVar(&a.json, "json", false, "print JSON for machines instead of tables")
	flags.IntVar(&a.jobs, "jobs", runtime.NumCPU(), "number of workers")
	flags.BoolVarP(&a.quiet, "quiet", "q", false, "no progress and no notes on stderr, only errors")
	root.AddCommand(
		demoCommand(a), newCommand(a), recordCommand(a), mergeCommand(a), sweepCommand(a), inspectCommand(a), runCommand(a),
		checkCommand(a), sensitivityCommand(a), reportCommand(a), serveCommand(a),
		referenceCommand(a), readingsCommand(a),
	)
	return root
}

// release is the version of the source; a build from a tagged module tells its own.
const release = "0.1.0-dev"

// version is the module's version, else that of the source, with the revision
// where the Go tool recorded one.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return release
	}
	v := info.Main.Version
	if v == "" || v == "(devel)" {
		v = release
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 && !strings.Contains(v, s.Value[:12]) {
			v += "+" + s.Value[:12]
		}
	}
	return v
}
