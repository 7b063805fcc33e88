package capture_test

import (
	"fmt"
	"os"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"asworn/capture"
	"asworn/capture/finding"
)

// workbench holds processors of the planted designs; one worker uses it at a time.
type workbench [len(plantedDesigns)]*capture.Processor

// newWorkbench makes it, of the long designs or of the others.
func newWorkbench(t testing.TB, long bool) (out workbench) {
	for i := range out {
		if long == (i >= shortDesigns) {
			out[i] = planted(t, i)
		}
	}
	return out
}

func (w workbench) process(r *recipe) ([]finding.Finding, error) {
	rec, err := w[r.design].ProcessSamples(r.make(), plantedDesigns[r.design].rate)
	return rec.Quality.Findings, err
}

// held are the sizes of a plant that are made: in the ordinary tests those that must be
// found (there may be none), with ASWORN_LONG set all that the table tells of.
func held(p plant) plant {
	if os.Getenv("ASWORN_LONG") == "" {
		p.sizes = p.sizes[len(p.sizes)-p.sure:]
	}
	return p
}

// cases is how many recordings are made per plant: a few in the ordinary tests;
// with ASWORN_LONG set a thousand per finding, and 200 per size at least.
func cases(p plant) int {
	if os.Getenv("ASWORN_LONG") == "" {
		return max(20/max(1, sharing(p)), 2*len(p.sizes))
	}
	return max(1000/max(1, sharing(p)), 200*len(p.sizes))
}

// sharing counts the plants of the same finding.
func sharing(p plant) (n int) {
	for _, q := range plants {
		if q.code == p.code {
			n++
		}
	}
	return n
}

// each calls do for 0 to n−1 on all cores.
func each(t *testing.T, n int, long bool, do func(w workbench, i int) error) {
	t.Helper()
	var wait sync.WaitGroup
	next := make(chan int)
	fail := make(chan error, 1)
	for range runtime.GOMAXPROCS(0) {
		w := newWorkbench(t, long)
		wait.Go(func() {
			for i := range next {
				if err := do(w, i); err != nil {
					select {
					case fail <- err:
					default:
					}
				}
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wait.Wait()
	select {
	case err := <-fail:
		t.Fatal(err)
	default:
	}
}

// TestFindingTable plants every fault in otherwise good recordings, counts how
// often it is found, and counts what good recordings raise. With ASWORN_LONG
// set and -v it prints the table of docs/developing/quality.md.
func TestFindingTable(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	falseAlarms := countFalse(t, false)
	var table strings.Builder
	fmt.Fprintf(&table, "| fault | code | size | found |\n|---|---|---|---|\n")
	for f, p := range plants {
		if !regexp.MustCompile(os.Getenv("ASWORN_PLANT")).MatchString(p.name) {
			continue
		}
		if p = held(p); len(p.sizes) == 0 {
			continue
		}
		found, total := count(t, cases(p), uint64(f), p, false)
		for s, size := range p.sizes {
			label := fmt.Sprintf("%.4g %s", size, p.unit)
			if p.unit == "" {
				label = ""
			}
			fmt.Fprintf(&table, "| %s | `%s` | %s | %d of %d |\n", p.name, p.code, label, found[s], total[s])
			if s >= len(p.sizes)-p.sure && float64(found[s]) < 0.9*float64(total[s]) {
				t.Errorf("%s, %g %s: found %d of %d", p.name, size, p.unit, found[s], total[s])
			}
		}
	}
	t.Logf("\n%s\n%s", table.String(), falseAlarms)
}

// TestBreakTable is TestFindingTable for clicks and dropouts in sweeps of 3 s
// at 48 kHz.
func TestBreakTable(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	falseAlarms := countFalse(t, true)
	var table strings.Builder
	for f, p := range plants {
		if p.code != finding.Click && p.code != finding.Dropout || !regexp.MustCompile(os.Getenv("ASWORN_PLANT")).MatchString(p.name) {
			continue
		}
		if p = held(p); len(p.sizes) == 0 {
			continue
		}
		n := len(p.sizes)
		if os.Getenv("ASWORN_LONG") != "" {
			n = 1000 / sharing(p)
		}
		found, total := count(t, n, uint64(100+f), p, true)
		for s, size := range p.sizes {
			fmt.Fprintf(&table, "| %s | `%s` | %.4g %s | %d of %d |\n", p.name, p.code, size, p.unit, found[s], total[s])
			if s >= len(p.sizes)-p.sure && float64(found[s]) < 0.9*float64(total[s]) {
				t.Errorf("%s, %g %s: found %d of %d", p.name, size, p.unit, found[s], total[s])
			}
		}
	}
	t.Logf("\n%s\n%s", table.String(), falseAlarms)
}

// count plants a fault in all its sizes, turn by turn.
func count(t *testing.T, n int, stream uint64, p plant, long bool) (found, total []int) {
	found, total = make([]int, len(p.sizes)), make([]int, len(p.sizes))
	var mu sync.Mutex
	each(t, n, long, func(w workbench, i int) error {
		s := i % len(p.sizes)
		r := drawGood(stream<<32+uint64(i), pickDesign(i/len(p.sizes), long, p.needs))
		p.spoil(r, p.sizes[s])
		got, err := w.process(r)
		if err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
		mu.Lock()
		defer mu.Unlock()
		total[s]++
		if slices.ContainsFunc(got, func(f finding.Finding) bool { return f.Code == p.code || slices.Contains(p.also, f.Code) }) {
			found[s]++
		} else if os.Getenv("ASWORN_MISSES") == string(p.code) {
			t.Logf("missed: %s, %g, design %d, case %d: %+v", p.name, p.sizes[s], r.design, i, got)
		}
		return nil
	})
	return found, total
}

func pickDesign(i int, long bool, ok func(repeats, loop int) bool) int {
	var fit []int
	for d, p := range plantedDesigns {
		if long != (d >= shortDesigns) {
			continue
		}
		if ok == nil || ok(p.repeats, p.loop) {
			fit = append(fit, d)
		}
	}
	return fit[i%len(fit)]
}

// countFalse makes good recordings and counts what they raise.
func countFalse(t *testing.T, long bool) string {
	n := cases(plant{})
	if long {
		n /= 5
	}
	raised := map[string]int{}
	any := 0
	var mu sync.Mutex
	each(t, n, long, func(w workbench, i int) error {
		r := drawGood(1<<60+uint64(i), pickDesign(i, long, nil))
		got, err := w.process(r)
		mu.Lock()
		defer mu.Unlock()
		for _, f := range got {
			raised[string(f.Code)+"/"+f.Severity.String()]++
			if os.Getenv("ASWORN_MISSES") != "" {
				t.Logf("false: design %d, case %d: %+v", r.design, i, f)
			}
		}
		if len(got) > 0 {
			any++
		}
		return err
	})
	var codes []string
	for c := range raised {
		codes = append(codes, c)
	}
	slices.Sort(codes)
	out := fmt.Sprintf("%d good recordings, %d raise a finding", n, any)
	for _, c := range codes {
		out += fmt.Sprintf("; %s: %d", c, raised[c])
	}
	if float64(any) > 0.01*float64(n) {
		t.Error(out)
	}
	return out
}
