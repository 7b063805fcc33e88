package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"asworn/cmd/internal/simulate"
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
	} {
		if err := run(t.Context(), c.args); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.args, err, c.want)
		}
	}
}

func TestProveStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := prove(ctx, conditions()[0], simulate.Piston, 1, 3, 2); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
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
	markdown(&b, []result{{conditions()[0], scores}, {conditions()[1], empty}})
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
