// Command proving is the proving ground of the offset estimates: it invents
// studies whose truth is known, has them analysed, and writes how far off the
// answers are, how often the stated intervals hold, and how often a verdict is
// wrong. docs/developing/proving.md holds its table.
package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"

	"asworn/capture/study"
	"asworn/capture/workers"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "proving:", err)
		os.Exit(1)
	}
}

// errMissed says that a bar was missed; what and by how much has been written.
var errMissed = errors.New("bars are missed")

// options are what the command line asks for.
type options struct {
	generators string // a letter each
	studies    int    // per condition
	seed       uint64
	pattern    *regexp.Regexp // of conditions; nil for those that the method names
	planned    bool           // asPlanned
	jobs       int
	json       string // file, or none
	bars       bool
	// What is shown in place of the table; the first that is true.
	list, plausible, who, ceiling, alone bool
}

func parse(args []string) (options, error) {
	var o options
	fs := flag.NewFlagSet("proving", flag.ContinueOnError)
	fs.StringVar(&o.generators, "generator", "a", "physics, one or several of a (piston in a cup, Rayleigh integral), b (modes of a cavity), c (finite elements over a relief) and d (a beam, with statistical laws of its own); b, c and d are kept for the final table")
	fs.IntVar(&o.studies, "studies", 24, "studies per condition")
	fs.Uint64Var(&o.seed, "seed", 1, "seed of the first study of the first condition; the next study takes the next, the next condition starts 100 later, the next generator 1e9 later")
	pattern := fs.String("condition", "", "regular expression: which conditions to run; empty is those that the method names")
	fs.BoolVar(&o.list, "list", false, "list the conditions and stop")
	fs.BoolVar(&o.planned, "planned", false, "with as many seatings of every listener and displacements of the survey as a plan of asworn new has when nothing else is said")
	fs.IntVar(&o.jobs, "jobs", runtime.GOMAXPROCS(0), "studies at a time")
	fs.BoolVar(&o.plausible, "plausible", false, "show the spread of the generator's levels instead")
	fs.BoolVar(&o.ceiling, "ceiling", false, "show instead what a linear rule reaches that was taught on people whose truth is known")
	fs.BoolVar(&o.who, "who", false, "show instead how often bare ears tell who is who an earlier study knows")
	fs.BoolVar(&o.alone, "alone", false, "show instead what readings and sound say of fixture seatings, each alone and both together")
	fs.StringVar(&o.json, "json", "", "also write all figures as JSON to this file")
	fs.BoolVar(&o.bars, "bars", false, "fail when a bar of the method is shown to be missed, on coverage on either side")
	if err := fs.Parse(args); err != nil {
		return o, err
	}
	if o.studies < 1 {
		return o, fmt.Errorf("%d studies; at least one is needed", o.studies)
	}
	for _, name := range o.generators {
		if _, ok := generators[string(name)]; !ok {
			return o, fmt.Errorf("no generator %q", name)
		}
	}
	var err error
	if *pattern != "" {
		o.pattern, err = regexp.Compile(*pattern)
	}
	return o, err
}

func run(ctx context.Context, args []string, stdout io.Writer) error {
	o, err := parse(args)
	if err != nil {
		return err
	}
	switch {
	case o.list:
		for _, c := range conditions() {
			named := " "
			if c.method {
				named = "*"
			}
			fmt.Fprintf(stdout, "%s %-22s %s\n", named, c.name, c.what)
		}
		return nil
	case o.plausible:
		for _, name := range o.generators {
			if err := plausible(ctx, stdout, generators[string(name)].world, o.seed, o.studies, o.jobs); err != nil {
				return err
			}
		}
		return nil
	case o.who:
		fmt.Fprint(stdout, whoHead)
		for _, name := range o.generators {
			if err := who(ctx, stdout, name, generators[string(name)].world, o.seed, o.studies); err != nil {
				return err
			}
		}
		return nil
	}
	results := o.results()
	switch {
	case len(results) == 0:
		return fmt.Errorf("no condition matches %q; -list shows them", o.pattern)
	case o.ceiling:
		for _, r := range results {
			fmt.Fprintf(stdout, "\n%s, generator %s, seed %d\n\n", r.name, r.generator, o.seed)
			if err := ceiling(ctx, stdout, generators[r.generator].world, r.design, o.seed, o.jobs); err != nil {
				return err
			}
		}
		return nil
	case o.alone:
		return alone(ctx, stdout, results, o.jobs)
	}
	return o.table(ctx, stdout, results)
}

// results are the conditions chosen, under each generator, with room for the scores of
// their studies.
func (o options) results() (out []result) {
	for nth, name := range o.generators {
		first := o.seed + generatorSeeds*uint64(nth)
		for i, c := range conditions() {
			if o.pattern == nil && !c.method || o.pattern != nil && !o.pattern.MatchString(c.name) {
				continue
			}
			c.design.Laws = generators[string(name)].laws
			if o.planned {
				c.design = asPlanned(c.design)
			}
			c.seed = first + conditionSeeds*uint64(i)
			if c.series || c.surfaces != nil { // the same studies, however many came before
				c.seed = first + seriesSeed
			}
			out = append(out, result{c, string(name), make([]score, o.studies)})
		}
	}
	return out
}

// table proves the results and writes them, and which bars are missed.
func (o options) table(ctx context.Context, stdout io.Writer, results []result) error {
	begin := time.Now()
	if err := prove(ctx, results, o.jobs, nil); err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "%d studies in %.0f s by the clock\n", len(results)*o.studies, time.Since(begin).Seconds())
	fmt.Fprintf(stdout, "%d studies per condition and generator, seeds from %d.\n\n", o.studies, o.seed)
	if len(o.generators) > 1 {
		// What a few studies of one generator do not show those of all may.
		results = append(pooled(results), results...)
	}
	markdown(stdout, results)
	if o.json != "" {
		var b bytes.Buffer
		if err := writeJSON(&b, results); err != nil {
			return err
		}
		if err := os.WriteFile(o.json, b.Bytes(), 0o666); err != nil {
			return err
		}
	}
	var missed []string
	for _, r := range results {
		if r.method {
			missed = append(missed, texts(misses(r))...)
		}
	}
	if len(missed) > 0 {
		fmt.Fprintf(stdout, "\nShown to be missed (two-sided at 99 %%):\n\n- %s\n", strings.Join(missed, "\n- "))
		if o.bars {
			return errMissed
		}
	}
	return nil
}

// pooled are the studies of every condition over all generators.
func pooled(results []result) []result {
	var out []result
	for _, r := range results {
		i := slices.IndexFunc(out, func(p result) bool { return p.name == r.name })
		if i < 0 {
			r.scores = slices.Clone(r.scores)
			out = append(out, r)
			continue
		}
		out[i].generator += r.generator
		out[i].scores = append(out[i].scores, r.scores...)
	}
	return out
}

// prove invents and analyses the studies of all results, several at a time; mem holds
// what was analysed before, and may be nil.
func prove(ctx context.Context, results []result, jobs int, mem fitcorr.Memory) error {
	type task struct{ result, study int }
	var tasks []task
	for r := range results {
		for i := range results[r].scores {
			tasks = append(tasks, task{r, i})
		}
	}
	return workers.Each(ctx, len(tasks), max(jobs, 1), nil, func(ctx context.Context) func(int) error {
		return func(i int) error {
			r := &results[tasks[i].result]
			seed := r.seed + uint64(tasks[i].study)
			one, err := proveOne(ctx, r.condition, generators[r.generator].world, seed, mem)
			if err != nil {
				return err
			}
			if one.failed != nil {
				fmt.Fprintf(os.Stderr, "generator %s, %s, study %d: %v\n", r.generator, r.name, seed, one.failed)
			}
			r.scores[tasks[i].study] = one
			return nil
		}
	})
}

// proveOne returns an error only when it was stopped; an analysis that fails
// is a result.
func proveOne(ctx context.Context, c condition, world simulate.World, seed uint64, mem fitcorr.Memory) (score, error) {
	d := c.design
	drawn := simulate.Draw(seed, d, world)
	seatings, err := drawn.Seatings(ctx, seed, 1)
	if err != nil {
		return score{}, err
	}
	opt := c.options(seed)
	if len(drawn.Readings) > 0 {
		seatings, opt.Reading = combine(seatings, drawn.Readings, opt)
	}
	var alike float64
	if c.surfaces != nil {
		seatings, alike = c.surfaces.take(drawn, seatings)
	}
	if c.series {
		s, err := drawSeries(ctx, drawn, seed, c.earlier)
		if err != nil {
			return score{}, err
		}
		seatings, opt.Reading = s.take(seatings, study.Default().Reading, opt.Confidence)
	}
	analysis, _, err := fitcorr.AnalyseWith(ctx, seatings, opt, mem)
	if ctx.Err() != nil {
		return score{}, ctx.Err()
	}
	if err != nil {
		return score{failed: err}, nil
	}
	s := judge(drawn, analysis, opt.Confidence)
	s.alike = alike
	if c.curves {
		s.correct(drawn, seatings, analysis)
	}
	return s, nil
}
