package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"asworn/capture/sweep"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/plan"
)

type newOptions struct {
	title  string
	design plan.Design
	sweep  sweep.Design
	like   string  // an earlier study
	want   float64 // half-width of the interval of its worn mean, mm
	wantDB float64 // or of its worn level, dB; 0 when not asked for
}

func (a *app) newCommand() *cobra.Command {
	opt := newOptions{design: plan.Default(), sweep: sweep.Default()}
	cmd := &cobra.Command{
		Use:   "new DIR",
		Short: "Start a study: study.toml, sweep, a drawn seating plan, the safety page",
		Long: `Starts a study in DIR: study.toml to complete, the sweep to play, seatings.csv
with every seating in the order in which to record it (models and displacements
in drawn order, so that drift does not look like a model or a position), with
empty columns for where each headphone is seen to sit, and the cautions to read
before anybody wears a headphone.

With --like and --within the panel is planned from an earlier study: the fewest
listeners and seatings that keep the interval of the mean position of people like
the panel within so many mm, what the fixture's own ear adds left out.
With --within-db instead they keep the worn level, and with it the bias of the
fixture against it, within so many dB in a typical third octave.`,
		Example: `  asworn new my-study --models "Model A,Model B,Model C"
  asworn new pilot --models "Model A" --listeners 3 --seatings 3 --survey=false
  asworn new next --models "Model D" --like my-study --within 1.5
  asworn new next --models "Model D" --like my-study --within-db 1`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if opt.like != "" {
				if cmd.Flags().Changed("listeners") || cmd.Flags().Changed("seatings") {
					return usagef("--like plans the panel; leave --listeners and --seatings out")
				}
				if cmd.Flags().Changed("within") && cmd.Flags().Changed("within-db") {
					return usagef("--within and --within-db plan by different things; give one")
				}
				if err := a.planPanel(&opt); err != nil {
					return err
				}
			} else if cmd.Flags().Changed("within") || cmd.Flags().Changed("within-db") {
				return usagef("--within needs --like, the earlier study to plan from")
			}
			return a.newStudy(args[0], opt)
		},
	}
	f, d := cmd.Flags(), &opt.design
	f.StringVar(&opt.title, "title", "", "title of the study")
	f.StringSliceVar(&d.Models, "models", []string{"Model A"}, "headphone models, separated by commas")
	f.IntVar(&d.Listeners, "listeners", d.Listeners, "listeners in the panel")
	f.IntVar(&d.Seatings, "seatings", d.Seatings, "seatings per listener and model")
	f.IntVar(&d.Fixture, "fixture", d.Fixture, "ordinary seatings of each model on the fixture")
	f.BoolVar(&d.Survey, "survey", d.Survey, "a position survey of each model on the fixture")
	f.IntVar(&d.Repeats, "survey-repeats", d.Repeats, "repeats of each displacement")
	f.IntVar(&d.Displaced, "displaced", d.Displaced, "listeners who also wear each model 4 mm off on purpose, four ways")
	f.BoolVar(&d.BareEar, "bare-ear", d.BareEar, "a bare-ear reference of each listener and of the fixture")
	f.BoolVar(&d.Drum, "drum", d.Drum, "the drum point at each ordinary fixture seating")
	f.Uint64Var(&d.Seed, "seed", d.Seed, "draws the order of the seatings")
	f.StringVar(&opt.like, "like", "", "plan the panel from the last results of this earlier study")
	f.Float64Var(&opt.want, "within", 2, "with --like: wanted half-width of the interval of the people's mean position, mm")
	f.Float64Var(&opt.wantDB, "within-db", 0, "with --like: wanted half-width of the worn level's interval instead, dB")
	sweepFlags(f, &opt.sweep)
	return cmd
}

// planPanel chooses listeners and seatings from an earlier study.
func (a *app) planPanel(opt *newOptions) error {
	r, err := pipeline.LastResults(opt.like)
	if err != nil {
		return err
	}
	panels, what, want, unit := plan.Panels, "people's mean position", opt.want, "mm"
	if opt.wantDB != 0 {
		panels, what, want, unit = plan.LevelPanels, "worn level", opt.wantDB, "dB"
	}
	plans, err := panels(r, want)
	if err != nil {
		return fmt.Errorf("%s: %w", opt.like, err)
	}
	a.note("panels that keep the %s within ±%g %s, going by %s, the cheapest first:", what, want, unit, opt.like)
	for _, p := range plans {
		a.note("  %d listeners with %d seatings each: ±%.2f %s", p.Listeners, p.Seatings, p.HalfWidth, unit)
	}
	if f := plan.FigureFactor(r, plans[0].Listeners); f > 0 {
		a.note("the figure of fit sensitivity would then be known within a factor of %.2f to either side", f)
	}
	opt.design.Listeners, opt.design.Seatings = plans[0].Listeners, plans[0].Seatings
	if n := len(plan.Displacements()) * opt.design.Repeats; opt.design.Survey {
		for _, o := range plan.Outlooks(r, n) {
			a.note("a survey of %d displacements of a model like %s: positions within about %.1f mm forward, %.1f mm up (from its %d)",
				n, o.Model, o.MM[0], o.MM[1], o.Displacements)
		}
	}
	return nil
}

func (a *app) newStudy(dir string, opt newOptions) error {
	if opt.title == "" {
		opt.title = filepath.Base(filepath.Clean(dir))
	}
	if err := opt.design.Validate(); err != nil {
		return usageError{err}
	}
	if err := opt.sweep.Validate(); err != nil {
		return usageError{err}
	}
	rows, err := opt.design.Rows()
	if err != nil {
		return err
	}
	if err := empty(dir); err != nil {
		return err
	}
	if err := pipeline.WriteStudy(dir, opt.title, opt.sweep, rows); err != nil {
		return err
	}
	a.note("%s: %d seatings to record, in the order of seatings.csv", dir, len(rows))
	a.note("next: complete study.toml, play sweep.wav, record each row under its name, then 'asworn run %s'", dir)
	a.note("where a ruler or a scaled photograph reaches, write each headphone's place on the head into read_forward_mm and read_up_mm (docs/study-format.md): " +
		"look from beside the ear at the same point of the cup every time, and never press on a worn microphone")
	if opt.design.Listeners > 0 {
		a.note("\n%s says (read it before anybody wears a headphone):\n", filepath.Join(dir, pipeline.CautionsFile))
		a.cautions()
	}
	fmt.Fprintln(a.out, dir)
	return nil
}

// empty returns an error unless dir is missing or an empty folder.
func empty(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case os.IsNotExist(err):
		return nil
	case err != nil:
		return err
	case len(entries) > 0:
		return fmt.Errorf("%s is not empty; name a new folder", dir)
	}
	return nil
}

// absent returns an error when file is there.
func absent(file string) error {
	if _, err := os.Lstat(file); err == nil {
		return fmt.Errorf("%s is there already; name another file, or replace it with --force", file)
	}
	return nil
}
