package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
)

func TestRunRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"-generator", "z"}, "no generator"},
		{[]string{"-condition", "("}, "missing closing"},
		{[]string{"-condition", "nothing-like-it"}, "-list shows them"},
		{[]string{"-studies", "many"}, "invalid value"},
		{[]string{"-studies", "0"}, "at least one"},
	} {
		if err := run(t.Context(), c.args, io.Discard); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.args, err, c.want)
		}
	}
}

func TestProveStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := prove(ctx, []result{{conditions()[0], "a", make([]score, 3)}}, 2, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func TestPooled(t *testing.T) {
	all := conditions()[:2]
	in := []result{{all[0], "a", make([]score, 2)}, {all[1], "a", make([]score, 3)}, {all[0], "b", make([]score, 4)}}
	out := pooled(in)
	if len(out) != 2 || out[0].generator != "ab" || len(out[0].scores) != 6 || out[1].generator != "a" || len(out[1].scores) != 3 || len(in[0].scores) != 2 {
		t.Errorf("%+v", out)
	}
}

// Every table has as many cells in a row as in its head.
func TestMarkdownTables(t *testing.T) {
	var scores []score
	for _, s := range studies(2) {
		scores = append(scores, judge(s, oracle(s, 0.3, 0.2), 0.95))
	}
	var b bytes.Buffer
	empty := make([]score, 2)
	curves := named("read-off-4")
	markdown(&b, []result{{conditions()[0], "a", scores}, {conditions()[1], "b", empty}, {curves, "c", empty}})
	cells := 0
	for line := range strings.Lines(b.String()) {
		switch n := strings.Count(line, "|"); {
		case !strings.HasPrefix(line, "|"):
			cells = 0
		case cells == 0:
			cells = n
		case n != cells:
			t.Errorf("%d bars where the head has %d: %s", n, cells, line)
		}
		if strings.Contains(line, "NaN") {
			t.Errorf("NaN in %s", line)
		}
	}
}

// The JSON holds numbers only, and what is missed.
func TestJSON(t *testing.T) {
	var scores []score
	for _, s := range studies(2) {
		scores = append(scores, judge(s, oracle(s, 3, 0.2), 0.95))
	}
	var b bytes.Buffer
	if err := writeJSON(&b, []result{{conditions()[0], "a", scores}, {conditions()[1], "b", make([]score, 2)}}); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Figures []line
		Missed  []string
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Figures) < 50 || len(got.Missed) == 0 {
		t.Errorf("%d figures, %d misses of an estimator that is 3 mm off", len(got.Figures), len(got.Missed))
	}
}
