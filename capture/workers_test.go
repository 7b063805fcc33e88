package capture_test

import (
	"reflect"
	"sync"
	"testing"

	"asworn/capture"
)

// TestWorkers processes good and spoilt recordings with one worker, and with
// several that share the work on one recording or are shared by clones: same
// recording, same bits, findings in the same order.
func TestWorkers(t *testing.T) {
	for n, design := range []int{0, 3, 4} { // one repeat, several, no loopback
		alone, several := planted(t, design), planted(t, design)
		alone.SetWorkers(1)
		several.SetWorkers(3)
		rate := plantedDesigns[design].rate
		recipes := []*recipe{drawGood(uint64(design), design)}
		for i, p := range plants {
			if i%3 != n {
				continue // each plant in one of the designs
			}
			if p.needs == nil || p.needs(plantedDesigns[design].repeats, plantedDesigns[design].loop) {
				r := drawGood(uint64(100*design+i), design)
				p.spoil(r, p.sizes[len(p.sizes)-1])
				recipes = append(recipes, r)
			}
		}
		var group sync.WaitGroup
		for i, r := range recipes {
			x := r.make()
			want, err := alone.ProcessSamples(x, rate)
			if err != nil {
				t.Fatal(err)
			}
			compare := func(p *capture.Processor) {
				if got, err := p.ProcessSamples(x, rate); err != nil || !reflect.DeepEqual(got, want) {
					t.Errorf("design %d, recording %d: several workers give something else: %v", design, i, err)
				}
			}
			compare(several)
			if i%4 == 0 {
				other := several.Clone()
				group.Go(func() { compare(other) })
			}
		}
		group.Wait()
	}
}

// TestOrderOfRecordings: what a recording becomes does not depend on those that a
// processor had before, longer ones among them.
func TestOrderOfRecordings(t *testing.T) {
	const design = 0
	rate := plantedDesigns[design].rate
	for i, p := range plants {
		if p.needs != nil && !p.needs(plantedDesigns[design].repeats, plantedDesigns[design].loop) {
			continue
		}
		r := drawGood(uint64(3000+i), design)
		p.spoil(r, p.sizes[len(p.sizes)-1])
		x := r.make()
		want, err := planted(t, design).ProcessSamples(x, rate)
		if err != nil {
			t.Fatal(err)
		}
		used := planted(t, design)
		long := drawGood(uint64(4000+i), design).make()
		for c := range long {
			long[c] = append(long[c], make([]float64, len(long[c])/2)...)
		}
		if _, err := used.ProcessSamples(long, rate); err != nil {
			t.Fatal(err)
		}
		if got, err := used.ProcessSamples(x, rate); err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("%s: another result after a longer recording: %v", p.name, err)
		}
	}
}
