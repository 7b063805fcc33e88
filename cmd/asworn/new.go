package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"asworn/capture/sweep"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/plan"
	"asworn/cmd/internal/resultdir"
	"asworn/cmd/internal/studydir"
	"asworn/report/text"
)

type newOptions struct {
	title  string
	design plan.Design
	sweep  sweep.Design
	like   string  // an earlier study
	want   float64 // half-width of the interval of its worn mean, mm
	wantDB float64 // or of its worn level, dB; 0 when not asked for
	wanted plan.Wanted
	// usePercent and movePercent are wanted as a person writes them.
	usePercent, movePercent float64
	reduced, pilot          bool
}

func newCommand(c *console.Console) *cobra.Command {
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
fixture against it, within so many dB in a typical third octave.

With --use and --move (or --mean-within) the whole study is planned from what is
wanted of everyday seatings: of those at the sample mean so many per cent shown to be,
of those 6 mm off so many. That chooses listeners, seatings, displaced listeners,
survey rows at each point and readings for the least time; --like takes the
uncertainties from an earlier study. The plan says how long each session takes and
what leaving out readings, displaced listeners or displacements of the survey costs.
--reduced is a protocol for one model: no bare-ear reference, nobody displaced, four
readings. --pilot is the least that gives a verdict on one model, in half an hour: one
listener, who may be you, and a survey of nine displacements at the blocked ear-canal
entrance; it tells gross misplacement only. Other rows are added while recording.`,
		Example: `  asworn new my-study --models "Model A,Model B,Model C"
  asworn new pilot --models "Model A" --listeners 3 --seatings 3 --survey=false
  asworn new next --models "Model D" --like my-study --within 1.5
  asworn new next --models "Model D" --like my-study --within-db 1
  asworn new bench --models "Model A,Model B" --use 80 --move 90
  asworn new small --models "Model A" --reduced
  asworn new mine --models "Model A" --pilot`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opt.settle(c, cmd.Flags().Changed); err != nil {
				return err
			}
			return newStudy(c, args[0], opt)
		},
	}
	opt.flags(cmd.Flags())
	return cmd
}

func (opt *newOptions) flags(f *pflag.FlagSet) {
	d := &opt.design
	f.StringVar(&opt.title, "title", "", "title of the study")
	f.StringSliceVar(&d.Models, "models", []string{"Model A"}, "headphone models, separated by commas")
	f.IntVar(&d.Listeners, "listeners", d.Listeners, "listeners in the panel")
	f.IntVar(&d.Seatings, "seatings", d.Seatings, "seatings per listener and model")
	f.IntVar(&d.Fixture, "fixture", d.Fixture, "ordinary seatings of each model on the fixture")
	f.BoolVar(&d.Survey, "survey", d.Survey, "a position survey of each model on the fixture")
	f.IntVar(&d.Displacements, "displacements", len(plan.Displacements()), fmt.Sprintf("displacements of the survey at each point, %d to %d", plan.LeastSurvey, len(plan.Displacements())))
	f.IntVar(&d.Repeats, "survey-repeats", d.Repeats, "repeats of each displacement")
	f.IntVar(&d.Displaced, "displaced", d.Displaced, "listeners who also wear each model 4 mm off on purpose, four ways")
	f.BoolVar(&d.BareEar, "bare-ear", d.BareEar, "a bare-ear reference of each listener and of the fixture")
	f.BoolVar(&d.Drum, "drum", d.Drum, "the drum reference point too: ordinary fixture seatings and the survey")
	f.BoolVar(&d.OnePlacement, "one-placement", d.OnePlacement, "the fixture allows both points in one placement, without touching the headphone")
	f.IntVar(&d.Readings, "readings", d.Readings, "readings of each placement with a ruler; 2 or more have a readings.csv to fill in")
	f.BoolVar(&opt.reduced, "reduced", false, "a protocol for one model: no bare-ear reference, nobody displaced, four readings")
	f.BoolVar(&opt.pilot, "pilot", false, "a pilot study of half an hour: one listener, nine displacements, no readings")
	f.Float64Var(&opt.usePercent, "use", 80, "plan: wanted share of seatings at the sample mean that are shown to be, %")
	f.Float64Var(&opt.movePercent, "move", 90, "plan: wanted share of seatings 6 mm off that are shown to be, %")
	f.Float64Var(&opt.wanted.MM, "mean-within", 0, "plan: wanted half-width of the interval of the sample mean position, mm; 0 is any")
	f.Uint64Var(&d.Seed, "seed", d.Seed, "draws the order of the seatings")
	f.StringVar(&opt.like, "like", "", "plan the panel from the last results of this earlier study")
	f.Float64Var(&opt.want, "within", 2, "with --like: wanted half-width of the interval of the population mean position, mm")
	f.Float64Var(&opt.wantDB, "within-db", 0, "with --like: wanted half-width of the worn level's interval instead, dB")
	sweepFlags(f, &opt.sweep)
}

// settle holds the flags that were given against each other, and plans what they ask for.
func (opt *newOptions) settle(c *console.Console, given func(flag string) bool) error {
	if opt.pilot {
		if err := leftOut(given, "--pilot sets the rows", "listeners", "seatings", "fixture", "survey", "displacements", "survey-repeats", "displaced", "bare-ear", "drum",
			"one-placement", "readings", "reduced", "use", "move", "mean-within", "like"); err != nil {
			return err
		}
		opt.design = opt.design.Pilot()
	}
	if given("displacements") && !opt.design.Survey {
		return console.Usagef("--displacements is of the survey; leave --survey=false out")
	}
	if opt.reduced {
		if given("bare-ear") || given("displaced") || given("readings") {
			return console.Usagef("--reduced sets --bare-ear, --displaced and --readings; leave them out")
		}
		if len(opt.design.Models) != 1 {
			return console.Usagef("--reduced is for one model; %d are named", len(opt.design.Models))
		}
		opt.design.BareEar, opt.design.Displaced, opt.design.Readings = false, 0, 4
	}
	switch {
	case given("use") || given("move") || given("mean-within"):
		if err := leftOut(given, "--use, --move and --mean-within plan the study", "listeners", "seatings", "displaced", "survey-repeats", "readings", "within", "within-db", "survey", "reduced"); err != nil {
			return err
		}
		return planStudy(c, opt)
	case opt.like == "" && (given("within") || given("within-db")):
		return console.Usagef("--within needs --like, the earlier study to plan from")
	case opt.like == "":
		return nil
	case given("listeners") || given("seatings"):
		return console.Usagef("--like plans the panel; leave --listeners and --seatings out")
	case given("within") && given("within-db"):
		return console.Usagef("--within and --within-db plan by different things; give one")
	}
	return planPanel(c, opt)
}

// leftOut is an error when one of the flags was given, with the reason against it.
func leftOut(given func(flag string) bool, reason string, flags ...string) error {
	for _, name := range flags {
		if given(name) {
			return console.Usagef("%s; leave --%s out", reason, name)
		}
	}
	return nil
}

// planStudy chooses a design for wanted rates of verdicts.
func planStudy(c *console.Console, opt *newOptions) error {
	for _, p := range []float64{opt.usePercent, opt.movePercent} {
		if !(p >= 0 && p < 100) {
			return console.Usagef("%g %%: want 0 to less than 100", p)
		}
	}
	if !(opt.wanted.MM >= 0) {
		return console.Usagef("--mean-within %g: want 0 or more", opt.wanted.MM)
	}
	opt.wanted.Use, opt.wanted.Move = opt.usePercent/100, opt.movePercent/100
	basis := plan.DefaultBasis()
	if opt.like != "" {
		r, err := resultdir.Last(opt.like)
		if err != nil {
			return err
		}
		basis = plan.BasisOf(r)
	}
	design, forecast, ok := basis.Cheapest(opt.design, opt.wanted, opt.minutesPerRow())
	if !ok {
		return fmt.Errorf("no plan of up to 16 listeners is expected to reach use %.0f %% and move %.0f %%%s; "+
			"the best is %d listeners × %d seatings, %d displaced, %d readings of each placement: use %.0f %%, move %.0f %%, sample mean within ±%.1f mm; want less, or a larger limits.max_offset_mm",
			opt.usePercent, opt.movePercent, withinWords(opt.wanted.MM), design.Listeners, design.Seatings, design.Displaced, design.Readings, 100*forecast.Use, 100*forecast.Move, forecast.MM)
	}
	opt.design = design
	return nil
}

func withinWords(mm float64) string {
	if mm == 0 {
		return ""
	}
	return fmt.Sprintf(" with the sample mean within ±%g mm", mm)
}

// minutesPerRow is how long one recording sounds.
func (o newOptions) minutesPerRow() float64 {
	s := o.sweep
	return (s.LeadSeconds + float64(s.Repeats)*(s.Seconds+s.GapSeconds)) / 60
}

// tellPlan says what a design is expected to reach, how long it takes, and what
// leaving parts of it out costs.
func tellPlan(c *console.Console, opt newOptions) {
	d := opt.design
	if d.Listeners < 1 || !d.Survey {
		return
	}
	points := "at the blocked ear-canal entrance"
	if d.Drum {
		points += " and as many at the drum reference point"
	}
	t := d.Minutes(opt.minutesPerRow())
	c.Note("plan: %s × %s of each model, %d of them also displaced; %s of each model %s; %s of each placement",
		text.Plural(d.Listeners, "listener"), text.Plural(d.Seatings, "seating"), d.Displaced, text.Plural(d.SurveyRows(), "survey row"), points, text.Plural(d.Readings, "reading"))
	c.Note("time: %.0f minutes per listener, %.0f of them per model; %.0f minutes at the fixture, about %.0f per model", t.Person, t.Model, t.Fixture, t.Fixture/float64(len(d.Models)))
	other := d
	other.Displacements = len(plan.Displacements())
	if d.SurveyRows() == other.SurveyRows() {
		other.Displacements = plan.LeastSurvey
	}
	survey := fmt.Sprintf("with %d displacements at each point: %.0f minutes at the fixture", other.Displacements, other.Minutes(opt.minutesPerRow()).Fixture)
	if d.Listeners < 2 { // one person is no sample: no rates can be told
		c.Note("%s; one listener is no sample: a study so small tells gross misplacement only", survey)
		return
	}
	basis := plan.DefaultBasis()
	if opt.like != "" {
		if r, err := resultdir.Last(opt.like); err == nil {
			basis = plan.BasisOf(r)
		}
	}
	rates := func(d plan.Design) string {
		f := basis.Forecast(d)
		return fmt.Sprintf("use of a seating in place in %.0f %%, move of one 6 mm off in %.0f %%, sample mean within ±%.1f mm", 100*f.Use, 100*f.Move, f.MM)
	}
	c.Note("expected (to about ten points): %s", rates(d))
	c.Note("%s; %s", survey, rates(other))
	if d.Readings > 0 {
		without := d
		without.Readings = 0
		c.Note("without readings: %s", rates(without))
	} else {
		with := d
		with.Readings = 4
		c.Note("with four readings of each placement: %s", rates(with))
	}
	if d.Displaced > 0 {
		without := d
		without.Displaced = 0
		c.Note("without displaced listeners: %s", rates(without))
	} else {
		with := d
		with.Displaced = d.Listeners
		c.Note("with every listener displaced too: %s", rates(with))
	}
}

// planPanel chooses listeners and seatings from an earlier study.
func planPanel(c *console.Console, opt *newOptions) error {
	r, err := resultdir.Last(opt.like)
	if err != nil {
		return err
	}
	panels, what, want, unit := plan.Panels, "population mean position", opt.want, "mm"
	if opt.wantDB != 0 {
		panels, what, want, unit = plan.LevelPanels, "worn level", opt.wantDB, "dB"
	}
	plans, err := panels(r, want)
	if err != nil {
		return fmt.Errorf("%s: %w", opt.like, err)
	}
	c.Note("panels that keep the %s within ±%g %s, going by %s, the cheapest first:", what, want, unit, opt.like)
	for _, p := range plans {
		c.Note("  %d listeners with %d seatings each: ±%.2f %s", p.Listeners, p.Seatings, p.HalfWidth, unit)
	}
	if f := plan.FigureFactor(r, plans[0].Listeners); f > 0 {
		c.Note("the figure of fit sensitivity would then be known within a factor of %.2f to either side", f)
	}
	opt.design.Listeners, opt.design.Seatings = plans[0].Listeners, plans[0].Seatings
	if n := opt.design.SurveyRows(); n > 0 {
		for _, o := range plan.Outlooks(r, n) {
			c.Note("a survey of %d displacements of a model like %s: positions within about %.1f mm forward, %.1f mm up (from its %d)",
				n, o.Model, o.MM[0], o.MM[1], o.Displacements)
		}
	}
	return nil
}

func newStudy(c *console.Console, dir string, opt newOptions) error {
	if opt.title == "" {
		opt.title = filepath.Base(filepath.Clean(dir))
	}
	if err := opt.design.Validate(); err != nil {
		return console.UsageError{Err: err}
	}
	if err := opt.sweep.Validate(); err != nil {
		return console.UsageError{Err: err}
	}
	rows, err := opt.design.Rows()
	if err != nil {
		return err
	}
	if err := empty(dir); err != nil {
		return err
	}
	if err := studydir.Start(dir, opt.title, opt.sweep, rows, opt.design.ReadingRows(rows)); err != nil {
		return err
	}
	c.Note("%s: %d seatings to record, in the order of seatings.csv", dir, len(rows))
	tellPlan(c, opt)
	c.Note("next: complete study.toml, then 'asworn record %s' (or play sweep.wav and record each row under its name), then 'asworn run %s'", dir, dir)
	if opt.design.Readings > 0 {
		c.Note("before any reading: find the fixture's canal entrance %d times, two people by turns who do not see each other's figures, and read from the mean mark; write the figures into the first rows of readings.csv", plan.FixtureFindings)
	}
	c.Note("where a ruler or a scaled photograph reaches, write each headphone's place on the head into read_forward_mm and read_up_mm (docs/study-format.md): " +
		"look from beside the ear at the same point of the cup every time, and never press on a worn microphone")
	if opt.design.Listeners > 0 {
		c.Note("\n%s says (read it before anybody wears a headphone):\n", filepath.Join(dir, studydir.CautionsFile))
		c.Cautions()
	}
	fmt.Fprintln(c.Out, dir)
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
