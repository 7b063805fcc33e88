// Command proving is the proving ground of the offset estimates: it invents
// studies whose truth is known, has them analysed, and writes how far off the
// answers are, how often the stated intervals hold, and how often a verdict is
// wrong. docs/developing/proving.md holds its table.
package main

import (
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

func run(ctx context.Context, args []string, stdout io.Writer) error {
	fs := flag.NewFlagSet("proving", flag.ContinueOnError)
	names := fs.String("generator", "a", "physics, one or several of a (piston in a cup, Rayleigh integral), b (modes of a cavity), c (finite elements over a relief) and d (a beam, with statistical laws of its own); b, c and d are kept for the final table")
	studies := fs.Int("studies", 24, "studies per condition")
	seed := fs.Uint64("seed", 1, "seed of the first study of the first condition; the next study takes the next, the next condition starts 100 later, the next generator 1e9 later")
	pattern := fs.String("condition", "", "regular expression: which conditions to run; empty is those that the method names")
	list := fs.Bool("list", false, "list the conditions and stop")
	jobs := fs.Int("jobs", runtime.GOMAXPROCS(0), "studies at a time")
	spread := fs.Bool("plausible", false, "show the spread of the generator's levels instead")
	best := fs.Bool("ceiling", false, "show instead what a linear rule reaches that was taught on people whose truth is known")
	tell := fs.Bool("who", false, "show instead how often bare ears tell who is who an earlier study knows")
	apart := fs.Bool("alone", false, "show instead what readings and sound say of fixture seatings, each alone and both together")
	jsonPath := fs.String("json", "", "also write all figures as JSON to this file")
	held := fs.Bool("bars", false, "fail when a bar of the method is shown to be missed, on coverage on either side")
	if err := fs.Parse(args); err != nil {
		return err
	}
	if *studies < 1 {
		return fmt.Errorf("%d studies; at least one is needed", *studies)
	}
	choose, err := regexp.Compile(*pattern)
	if err != nil {
		return err
	}
	if *list {
		for _, c := range conditions() {
			named := " "
			if c.method {
				named = "*"
			}
			fmt.Fprintf(stdout, "%s %-22s %s\n", named, c.name, c.what)
		}
		return nil
	}
	var results []result
	told := false // the head of the table of who is who
	for nth, name := range *names {
		g, ok := generators[string(name)]
		if !ok {
			return fmt.Errorf("no generator %q", name)
		}
		if *spread {
			if err := plausible(ctx, stdout, g.world, *seed, *studies, *jobs); err != nil {
				return err
			}
			continue
		}
		if *tell {
			if !told {
				fmt.Fprint(stdout, whoHead)
			}
			told = true
			if err := who(ctx, stdout, name, g.world, *seed, *studies); err != nil {
				return err
			}
			continue
		}
		for i, c := range conditions() {
			if *pattern == "" && !c.method || !choose.MatchString(c.name) {
				continue
			}
			c.design.Laws = g.laws
			if *best {
				fmt.Fprintf(stdout, "\n%s, generator %c, seed %d\n\n", c.name, name, *seed)
				if err := ceiling(ctx, stdout, g.world, c.design, *seed, *jobs); err != nil {
					return err
				}
				continue
			}
			c.seed = *seed + generatorSeeds*uint64(nth) + conditionSeeds*uint64(i)
			if c.series || c.surfaces != nil { // the same studies, however many came before
				c.seed = *seed + generatorSeeds*uint64(nth) + seriesSeed
			}
			results = append(results, result{c, string(name), make([]score, *studies)})
		}
	}
	if *spread || *best || *tell {
		return nil
	}
	if len(results) == 0 {
		return fmt.Errorf("no condition matches %q; -list shows them", *pattern)
	}
	if *apart {
		return alone(ctx, stdout, results, *jobs)
	}
	begin := time.Now()
	if err := prove(ctx, results, *jobs, nil); err != nil {
		return err
	}
	fmt.Fprintf(os.Stderr, "%d studies in %.0f s by the clock\n", len(results)**studies, time.Since(begin).Seconds())
	fmt.Fprintf(stdout, "%d studies per condition and generator, seeds from %d.\n\n", *studies, *seed)
	if len(*names) > 1 {
		// What a few studies of one generator do not show those of all may.
		results = append(pooled(results), results...)
	}
	markdown(stdout, results)
	if *jsonPath != "" {
		f, err := os.Create(*jsonPath)
		if err != nil {
			return err
		}
		defer f.Close()
		if err := writeJSON(f, results); err != nil {
			return err
		}
		if err := f.Close(); err != nil {
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
		if *held {
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
