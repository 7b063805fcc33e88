// Command proving is the proving ground of the offset estimates: it invents
// studies whose truth is known, has them analysed, and writes how far off the
// answers are, how often the stated intervals hold, and how often a verdict is
// wrong. docs/developing/proving.md holds its table.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/beam"
	"asworn/cmd/internal/simulate/lattice"
	"asworn/cmd/internal/simulate/modal"
	"asworn/fitcorr"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "proving:", err)
		os.Exit(1)
	}
}

var generators = map[string]simulate.World{"a": simulate.Piston, "b": modal.World, "c": lattice.World, "d": beam.World}

func run(ctx context.Context, args []string) error {
	fs := flag.NewFlagSet("proving", flag.ContinueOnError)
	generator := fs.String("generator", "a", "physics: a (piston in a cup, Rayleigh integral), b (modes of a cavity) or c (finite elements over a relief); b and c are kept for the final table")
	studies := fs.Int("studies", 200, "studies per condition")
	seed := fs.Uint64("seed", 1, "seed of the first study; the next one takes the next")
	pattern := fs.String("condition", "^bar$", "regular expression: which conditions to run")
	list := fs.Bool("list", false, "list the conditions and stop")
	jobs := fs.Int("jobs", runtime.GOMAXPROCS(0), "studies at a time")
	spread := fs.Bool("plausible", false, "show the spread of the generator's levels instead")
	best := fs.Bool("ceiling", false, "show instead what a linear rule reaches that was taught on people whose truth is known")
	csvPath := fs.String("csv", "", "also write the figures as CSV to this file")
	if err := fs.Parse(args); err != nil {
		return err
	}
	world, ok := generators[*generator]
	if !ok {
		return fmt.Errorf("no generator %q", *generator)
	}
	choose, err := regexp.Compile(*pattern)
	if err != nil {
		return err
	}
	if *spread {
		return plausible(ctx, os.Stdout, world, *seed, *studies, *jobs)
	}
	var results []result
	for _, c := range conditions() {
		if *list {
			fmt.Printf("%-22s %s\n", c.name, c.what)
			continue
		}
		if !choose.MatchString(c.name) {
			continue
		}
		if *best {
			fmt.Printf("\n%s, generator %s, seed %d\n\n", c.name, *generator, *seed)
			if err := ceiling(ctx, os.Stdout, world, c.design, *seed, *jobs); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(os.Stderr, "%s: %d studies\n", c.name, *studies)
		scores, err := prove(ctx, c, world, *seed, *studies, *jobs)
		if err != nil {
			return err
		}
		results = append(results, result{c, scores})
	}
	if *list || *best {
		return nil
	}
	if len(results) == 0 {
		return fmt.Errorf("no condition matches %q; -list shows them", *pattern)
	}
	fmt.Printf("Generator %s, %d studies per condition from seed %d.\n\n", *generator, *studies, *seed)
	markdown(os.Stdout, results)
	if *csvPath == "" {
		return nil
	}
	f, err := os.Create(*csvPath)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := writeCSV(f, results); err != nil {
		return err
	}
	return f.Close()
}

// prove invents and analyses studies of one design, several at a time.
func prove(ctx context.Context, c condition, world simulate.World, seed uint64, studies, jobs int) ([]score, error) {
	scores := make([]score, studies)
	var next atomic.Int64
	g, ctx := errgroup.WithContext(ctx)
	for range max(jobs, 1) {
		g.Go(func() error {
			for {
				i := int(next.Add(1)) - 1
				if i >= studies {
					return nil
				}
				one, err := proveOne(ctx, c, world, seed+uint64(i))
				if err != nil {
					return err
				}
				scores[i] = one
			}
		})
	}
	return scores, g.Wait()
}

// proveOne returns an error only when it was stopped; an analysis that fails
// is a result.
func proveOne(ctx context.Context, c condition, world simulate.World, seed uint64) (score, error) {
	d := c.design
	study := simulate.Draw(seed, d, world)
	seatings, err := study.Seatings(ctx, seed, 1)
	if err != nil {
		return score{}, err
	}
	opt := fitcorr.DefaultOptions()
	opt.Jobs, opt.Seed = 1, seed
	if !c.misstated {
		opt.Reading = capture.ReadingUncertainty{OneMM: d.ReadSD, LandmarkMM: d.LandmarkSD, FixtureLandmarkMM: d.FixtureLandmarkSD}
	}
	begin := time.Now()
	analysis, _, err := fitcorr.Analyse(ctx, seatings, opt)
	seconds := time.Since(begin).Seconds()
	if ctx.Err() != nil {
		return score{}, ctx.Err()
	}
	s := score{failed: err}
	if err == nil {
		s = judge(study, analysis, opt.Confidence)
		s.correct(study, seatings, analysis)
	} else {
		fmt.Fprintf(os.Stderr, "study %d: %v\n", seed, err)
	}
	s.seconds = seconds
	return s, nil
}
