package fitcorr

import (
	"bytes"
	"context"
	"encoding/gob"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

// notes is a memory that knows parts by their JSON. What it does not hold it takes over
// from those before it, which is not counted as recalled.
type notes struct {
	before   *notes // nil for the first
	mu       sync.Mutex
	kept     map[string][]byte
	recalled map[string]int
}

func (n *notes) Recall(name string, of []any, to any) (func(any), bool) {
	var curves []any // which JSON leaves out
	for _, part := range of {
		var ss []seat.Seating
		switch part := part.(type) {
		case []seat.Seating:
			ss = part
		case position.Model:
			ss = part.Seatings
		}
		for _, s := range ss {
			curves = append(curves, s.Ears)
		}
	}
	text, err := json.Marshal([]any{name, of, curves})
	if err != nil {
		panic(err)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	keep := func(v any) {
		var b bytes.Buffer
		if err := gob.NewEncoder(&b).Encode(v); err != nil {
			panic(err)
		}
		for m := n; m != nil; m = m.before {
			m.keep(string(text), b.Bytes())
		}
	}
	b, ok := n.kept[string(text)]
	if !ok {
		if n.before != nil {
			if b, ok = n.before.held(string(text)); ok {
				n.kept[string(text)] = b
				return keep, gob.NewDecoder(bytes.NewReader(b)).Decode(to) == nil
			}
		}
		return keep, false
	}
	if err := gob.NewDecoder(bytes.NewReader(b)).Decode(to); err != nil {
		panic(err)
	}
	n.recalled[name]++
	return keep, true
}

func (n *notes) keep(text string, value []byte) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.kept[text] = value
}

func (n *notes) held(text string) ([]byte, bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	b, ok := n.kept[text]
	return b, ok
}

func newNotes(before *notes) *notes {
	return &notes{before: before, kept: map[string][]byte{}, recalled: map[string]int{}}
}

// TestMemory: an analysis with what others left is the same to the byte, and takes
// from them what a seating more or less, whose position was read, does not touch.
func TestMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates whole studies")
	}
	t.Parallel()
	plan := toy.Small(7)
	plan.Listeners, plan.Drum = 2, true
	ss, truth := plan.Study()
	ss = toy.Read(ss, truth, 7, 1, 0.7)
	opt := seat.DefaultOptions()
	analyse := func(ss []seat.Seating, mem Memory) string {
		t.Helper()
		a, f, err := AnalyseWith(context.Background(), ss, opt, mem)
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal([]any{a, f})
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	want := analyse(ss, nil)
	shared := newNotes(nil) // so that each case does not begin from nothing
	for _, c := range []struct {
		name    string
		without func(s seat.Seating) bool
		all     bool // everything is recalled
		panel   bool // the panel is
	}{
		{"nothing", func(seat.Seating) bool { return false }, true, true},
		{"drum", func(s seat.Seating) bool { return s.ID == "Model A/drum0" }, false, true},
		{"fixture", func(s seat.Seating) bool { return s.ID == "Model A/fixture1" }, false, false},
		{"survey", func(s seat.Seating) bool { return s.ID == "Model A/survey5" }, false, false},
		{"worn", func(s seat.Seating) bool { return s.Worn() && s.Number == 1 && s.Model == "Model A" }, false, false},
		{"bare", func(s seat.Seating) bool { return s.Model == "" && s.Subject != capture.FixtureSubject }, false, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			mem := newNotes(shared)
			less := slices.DeleteFunc(slices.Clone(ss), c.without)
			if len(less) == len(ss) && !c.all {
				t.Fatal("nothing was left out")
			}
			analyse(less, mem)
			mem.before = nil
			if n := fmt.Sprint(mem.recalled); n != "map[]" {
				t.Errorf("recalled %s of nothing", n)
			}
			if got := analyse(ss, mem); got != want {
				t.Error("another analysis than without a memory")
			}
			if panel := mem.recalled["panel"] == 1; panel != c.panel {
				t.Errorf("panel recalled: %v", panel)
			}
			if others := plan.Models - 1; c.panel && mem.recalled["model"] < others {
				t.Errorf("%d models recalled, want the %d others at least", mem.recalled["model"], others)
			}
			if mem.recalled["survey"] == 0 {
				t.Error("no survey was recalled")
			}
		})
	}
}
