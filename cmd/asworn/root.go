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

	"asworn/capture/audio"
	"asworn/cmd/internal/console"
)

// program is one run of asworn: its console and where its sound comes from.
type program struct {
	console.Console
	sound func() (audio.System, error)
}

// execute runs one command line and returns the exit code.
func execute(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	p := program{console.Console{In: os.Stdin, Out: stdout, Err: stderr}, audio.Open}
	return p.execute(ctx, args)
}

func (p *program) execute(ctx context.Context, args []string) int {
	started := false // a command's own work has begun: errors are no longer those of usage
	root := rootCommand(p, &started)
	root.SetArgs(args)
	root.SetOut(p.Out)
	root.SetErr(p.Err)
	cmd, err := root.ExecuteContextC(ctx)
	var usage console.UsageError
	switch {
	case err == nil:
		return console.Done
	case errors.Is(err, console.ErrOperator):
		return console.Operator
	case errors.As(err, &usage) || !started:
		fmt.Fprintf(p.Err, "asworn: %s\nTry '%s --help'.\n", console.Shown(err.Error()), cmd.CommandPath())
		return console.Usage
	case ctx.Err() != nil && errors.Is(err, ctx.Err()):
		fmt.Fprintln(p.Err, "asworn: interrupted; what was finished is kept, run the same command to continue")
		return console.Failed
	}
	console.PrintError(p.Err, err)
	return console.Failed
}

func rootCommand(p *program, started *bool) *cobra.Command {
	c := &p.Console
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
			if c.Jobs < 1 {
				return console.Usagef("--jobs %d: want 1 or more", c.Jobs)
			}
			*started = true
			return nil
		},
	}
	root.CompletionOptions.HiddenDefaultCmd = false
	flags := root.PersistentFlags()
	flags.BoolVar(&c.JSON, "json", false, "print JSON for machines instead of tables")
	flags.IntVar(&c.Jobs, "jobs", runtime.NumCPU(), "number of workers")
	flags.BoolVarP(&c.Quiet, "quiet", "q", false, "no progress and no notes on stderr, only errors")
	root.AddCommand(
		demoCommand(c), newCommand(c), recordCommand(c, p.sound), mergeCommand(c), sweepCommand(c), inspectCommand(c), runCommand(c),
		checkCommand(c), sensitivityCommand(c), reportCommand(c), serveCommand(c),
		referenceCommand(c), readingsCommand(c),
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
