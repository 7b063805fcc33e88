package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"asworn/capture/sweep"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/studydir"
)

func sweepCommand(c *console.Console) *cobra.Command {
	d := sweep.Default()
	out, bits := "sweep.wav", 24
	var force bool
	cmd := &cobra.Command{
		Use:   "sweep",
		Short: "Write the excitation as a WAV file",
		Long: `Writes what is played: silence for the noise estimate, then exponential sine
sweeps with silence between. Play it from an uncompressed player with every
effect, normaliser and equaliser off, and record at the same rate.`,
		Example: `  asworn sweep --out sweep.wav
  asworn sweep --seconds 5 --repeats 3 --rate 96000 --stop 40000 --out long.wav`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			if err := d.Validate(); err != nil {
				return console.UsageError{Err: err}
			}
			if bits != 16 && bits != 24 && bits != 32 {
				return console.Usagef("--bits %d: want 16, 24 or 32", bits)
			}
			return writeSweep(c, out, d, bits, force)
		},
	}
	sweepFlags(cmd.Flags(), &d)
	cmd.Flags().StringVarP(&out, "out", "o", out, "file to write")
	cmd.Flags().IntVar(&bits, "bits", bits, "bits per sample: 16, 24 or 32")
	cmd.Flags().BoolVar(&force, "force", false, "replace a file that is there")
	return cmd
}

// sweepFlags adds the flags of a sweep design; the values in d are the defaults.
func sweepFlags(flags *pflag.FlagSet, d *sweep.Design) {
	flags.Float64Var(&d.StartHz, "start", d.StartHz, "first frequency, Hz")
	flags.Float64Var(&d.StopHz, "stop", d.StopHz, "last frequency, Hz")
	flags.Float64Var(&d.Seconds, "seconds", d.Seconds, "length of one sweep")
	flags.IntVar(&d.Repeats, "repeats", d.Repeats, "number of sweeps")
	flags.Float64Var(&d.GapSeconds, "gap", d.GapSeconds, "silence after each sweep, s")
	flags.Float64Var(&d.LeadSeconds, "lead", d.LeadSeconds, "silence before the first sweep, s")
	flags.Float64Var(&d.RateHz, "rate", d.RateHz, "sampling rate, Hz")
}

func writeSweep(c *console.Console, file string, d sweep.Design, bits int, force bool) error {
	if !force {
		if err := absent(file); err != nil {
			return err
		}
	}
	if err := studydir.WriteSweep(file, d, bits); err != nil {
		return err
	}
	seconds := float64(d.LeadSamples()+d.Repeats*d.PeriodSamples()) / d.RateHz
	c.Note("%s: %.1f s at %.0f Hz; play it with every effect and equaliser off", filepath.Clean(file), seconds, d.RateHz)
	fmt.Fprintln(c.Out, file)
	return nil
}
