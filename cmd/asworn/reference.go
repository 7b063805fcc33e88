package main

import (
	"bytes"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/diffuse"
	"asworn/capture/disk"
	"asworn/cmd/internal/console"
)

// referenceOptions are the flags of the reference command.
type referenceOptions struct {
	ear       string
	freeField bool
	out       string
	force     bool
}

func referenceCommand(c *console.Console) *cobra.Command {
	opt := referenceOptions{ear: capture.Left.String()}
	cmd := &cobra.Command{
		Use:   "reference FILE.sofa",
		Short: "Compute a fixture's diffuse-field reference from its directional responses",
		Long: `Averages the power of a set of directional responses over the sphere, each
direction weighted by its solid angle, and writes the curve for the reference
key of study.toml. FILE.sofa is an AES69 (SOFA) file of the convention
SimpleFreeFieldHRIR, or the JSON text that mysofa2json makes of one.

The set must be of this very fixture, and its loudspeaker taken out; where it
is not, --free-field gives the diffuse field relative to the response from
straight ahead, in which the loudspeaker cancels.`,
		Example: `  asworn reference fixture.sofa --out calibration/diffuse-field.csv
  asworn reference fixture.sofa --ear right --free-field`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return makeReference(c, args[0], opt)
		},
	}
	cmd.Flags().StringVar(&opt.ear, "ear", opt.ear, "left (first receiver) or right (second)")
	cmd.Flags().BoolVar(&opt.freeField, "free-field", false, "relative to the response from straight ahead")
	cmd.Flags().StringVarP(&opt.out, "out", "o", "", "file to write; empty writes to stdout")
	cmd.Flags().BoolVar(&opt.force, "force", false, "replace a file that is there")
	return cmd
}

func makeReference(c *console.Console, file string, opt referenceOptions) error {
	receiver := int(capture.Left)
	switch opt.ear {
	case capture.Left.String():
	case capture.Right.String():
		receiver = int(capture.Right)
	default:
		return console.Usagef("--ear %q: want left or right", opt.ear)
	}
	if opt.out != "" && !opt.force {
		if err := absent(opt.out); err != nil {
			return err
		}
	}
	f, err := disk.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	curve, err := diffuseField(f, receiver, opt.freeField)
	if err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	if err := curve.Check(); err != nil {
		return fmt.Errorf("%s: %w", file, err)
	}
	if curve.GapDeg > 20 {
		c.Note("%s: no direction within %.0f degrees of some part of the sphere; its neighbours stand in for it", file, curve.GapDeg)
	}
	if opt.out == "" {
		return curve.WriteCSV(c.Out)
	}
	var text bytes.Buffer
	if err := curve.WriteCSV(&text); err != nil {
		return err
	}
	return disk.WriteFile(opt.out, text.Bytes())
}

func diffuseField(r io.Reader, receiver int, relative bool) (diffuse.Reference, error) {
	set, err := diffuse.Read(r)
	if err != nil {
		return diffuse.Reference{}, err
	}
	curve, err := set.DiffuseField(receiver)
	if err != nil || !relative {
		return curve, err
	}
	front, err := set.FreeField(receiver)
	if err != nil {
		return diffuse.Reference{}, err
	}
	return curve.Minus(front), nil
}
