package capture_test

import (
	"reflect"
	"sync"
	"testing"

	"asworn/capture/study"
	"asworn/capture/sweep"
)

// TestClones gives the same recording to a processor again and again and to
// clones at the same time: same input, same bits out. It leaves the samples
// alone.
func TestClones(t *testing.T) {
	d := sweep.Default()
	d.Seconds = 0.8
	p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: 3})
	x, copied := good(d), good(d)
	want, err := p.ProcessSamples(x, 48000)
	if err != nil {
		t.Fatal(err)
	}
	other := good(d)
	noise(other[0], 0.01, 77)
	var group sync.WaitGroup
	for range 3 {
		q := p.Clone()
		group.Go(func() {
			for range 2 {
				if _, err := q.ProcessSamples(other, 48000); err != nil {
					t.Error(err)
				}
				got, err := q.ProcessSamples(x, 48000)
				if err != nil || !reflect.DeepEqual(got, want) {
					t.Error("a clone gives something else", err)
				}
			}
		})
	}
	group.Wait()
	if !reflect.DeepEqual(x, copied) {
		t.Error("the samples were changed")
	}
}
