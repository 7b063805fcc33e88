//go:build unix

package main

import (
	"bytes"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/study"
	"asworn/cmd/internal/console"
)

// wearing is how a headphone so far forward and up sounds at an ear: direct sound and two
// reflections whose delays follow the position, at places between samples.
func wearing(forward, up, ear float64) []float64 {
	h := make([]float64, 64)
	for n := range h {
		for _, p := range [][2]float64{{0.4, 10}, {0.24, 10 + 7 + 0.35*forward + 0.3*ear}, {-0.16, 10 + 12 + 0.4*up - 0.2*ear}} {
			x := math.Pi * (float64(n) - p[1])
			if math.Abs(x) < 1e-9 {
				x = 1e-9
			}
			window := math.Pow(math.Cos(math.Pi/2*math.Min(1, math.Abs(float64(n)-p[1])/10)), 2)
			h[n] += p[0] * math.Sin(x) / x * window
		}
	}
	return h
}

// put displaces the headphone of the bench, in mm.
func (b *simulatedBench) put(forward, up, ear float64) {
	b.set(func() {
		b.Paths = []audio.Path{{Output: 0, Input: 1, FIR: wearing(forward, up, ear)}, {Output: 1, Input: 0, FIR: wearing(forward, up, ear+0.1)}}
	})
}

// readmePath are the commands between nothing and the first verdict, as the README has
// them; the build is this test's own.
func readmePath(t *testing.T) (commands [][]string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(text), "From nothing to the first verdict")
	_, after, _ = strings.Cut(after, "```\n")
	block, _, _ := strings.Cut(after, "```")
	word := regexp.MustCompile(`"[^"]*"|\S+`)
	for line := range strings.Lines(block) {
		line, _, _ = strings.Cut(line, "#")
		if command, ok := strings.CutPrefix(line, "./asworn "); ok {
			var args []string
			for _, w := range word.FindAllString(command, -1) {
				args = append(args, strings.Trim(w, `"`))
			}
			commands = append(commands, args)
		}
	}
	return commands
}

// The way of the README from nothing to the first verdict, command by command and key by
// key on a simulated bench: every row of the plan is recorded, none is dropped, and the
// minutes that the plan states are under thirty with the seating that gets the verdict.
func TestReadmeFirstVerdict(t *testing.T) {
	if testing.Short() {
		t.Skip("records and runs a study")
	}
	commands := readmePath(t)
	if len(commands) != 4 || commands[0][0] != "new" || commands[1][0] != "record" || commands[2][0] != "run" || commands[3][0] != "record" {
		t.Fatalf("README.md: %q", commands)
	}
	t.Chdir(t.TempDir())
	var told bytes.Buffer
	if code := execute(t.Context(), commands[0], io.Discard, &told); code != console.Done {
		t.Fatalf("new: code %d, %s", code, told.String())
	}
	stated := regexp.MustCompile(`time: (\d+) minutes per listener.*; (\d+) minutes at the fixture`).FindStringSubmatch(told.String())
	if stated == nil {
		t.Fatalf("no time is stated: %s", told.String())
	}
	person, _ := strconv.Atoi(stated[1])
	fixture, _ := strconv.Atoi(stated[2])
	if minutes := person + fixture + 1; minutes > 30 {
		t.Errorf("%d minutes at the bench, want 30 at most", minutes)
	}

	b := newSimulatedBench()
	s := startSession(t, b, commands[1]...)
	for i, side := range []string{"LEFT", "RIGHT"} {
		s.wants(side + " microphone")
		b.set(func() { b.touched = 1 - i })
		s.types("\r")
	}
	s.wants("microphone is on input 1")
	b.set(func() { b.touched = -1 })
	plan, err := study.LoadPartial("mine")
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range plan.NotRecorded {
		s.wants("Row " + strconv.Itoa(i+1) + " of " + strconv.Itoa(len(plan.NotRecorded)))
		switch d := row.Survey; {
		case d != nil:
			b.put(d.ForwardMM, d.UpMM, 0)
		case row.OnFixture():
			b.put(0.3, -0.2, 0)
		default:
			b.put(0.5+0.3*float64(row.Number), 0.4, 0.5)
		}
		s.types("\r")
		if !row.OnFixture() && row.Number == 1 {
			s.wants("y confirms them for this session")
			s.types("y\r")
		}
		s.wants("KEEP: recorded")
		s.types("\r")
	}
	s.wants("Every row is recorded")
	s.ends()

	if code := execute(t.Context(), commands[2], io.Discard, &told); code != console.Done && code != console.Operator {
		t.Fatalf("run: code %d, %s", code, told.String())
	}
	s = startSession(t, b, commands[3]...)
	s.wants("Model A on the fixture, seating")
	b.put(7, 0, 0)
	s.types("\r")
	s.wants("KEEP: undetermined") // of one listener nothing within the survey's reach is told
	s.wants("estimated place, against the sample mean: ")
	s.wants("what would help most")
	s.ends()
	got, err := study.Load("mine")
	if err != nil {
		t.Fatal(err)
	}
	if last := len(got.Seatings); last != len(plan.NotRecorded)+1 || got.Seatings[1].Point != capture.Blocked {
		t.Errorf("%d rows, want one more than the %d of the plan", last, len(plan.NotRecorded))
	}
}
