// Package record is a session at the bench as its operator meets it: on a terminal, key
// by key, or on a page. What a key does is the bench's; it knows no sound driver and no
// study file.
package record

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"

	"asworn/cmd/internal/console"
)

const ctrlC, escape = 3, 27

// errQuit ends a session by the operator's wish.
var errQuit = errors.New("ended before the first row; the same command goes on")

// Open takes the keyboard key by key.
func Open(c *console.Console) (*Terminal, error) {
	in, ok := c.In.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) || console.Terminal(c.Out) == nil {
		return nil, console.Usagef("this needs a terminal; --page drives it from a browser")
	}
	old, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return nil, err
	}
	t := &Terminal{c: c, in: in, old: old, keys: make(chan byte, 64)}
	go func() {
		defer close(t.keys)
		buf := make([]byte, 64)
		for {
			n, err := in.Read(buf)
			if err != nil {
				return
			}
			for _, b := range plainKeys(buf[:n]) {
				t.keys <- b
			}
		}
	}()
	return t, nil
}

// oddKey stands for a key that has no letter: it stops a sound and does nothing else.
const oddKey = 0

// plainKeys puts an odd key in the place of each of those that a terminal sends as a
// sequence, as arrows are (ECMA-48): its letters are not meant, nor is it the escape key.
func plainKeys(read []byte) (keys []byte) {
	for i := 0; i < len(read); i++ {
		if read[i] != escape || i+1 == len(read) || read[i+1] != '[' && read[i+1] != 'O' {
			keys = append(keys, read[i])
			continue
		}
		for i += 2; i < len(read) && (read[i] < '@' || read[i] > '~'); i++ { // its parameters
		}
		keys = append(keys, oddKey)
	}
	return keys
}

// Terminal shows a desk on a terminal and hands keys to it.
type Terminal struct {
	c    *console.Console
	in   *os.File
	old  *term.State
	keys chan byte

	asking question // what a typed line is for; empty when keys are keys
	typed  []byte
	tell   string // of the terminal itself

	cautions leaves
}

// Close gives the keyboard back; of nil it does nothing.
func (t *Terminal) Close() {
	if t != nil {
		_ = term.Restore(int(t.in.Fd()), t.old) // the program ends anyway
	}
}

// say prints a line; raw terminals need the carriage return.
func (t *Terminal) say(format string, args ...any) {
	fmt.Fprint(t.c.Out, strings.ReplaceAll(fmt.Sprintf(format+"\n", args...), "\n", "\r\n"))
}

func (t *Terminal) key(ctx context.Context) (byte, error) {
	select {
	case <-ctx.Done():
		return 0, ctx.Err()
	case k, ok := <-t.keys:
		if !ok {
			return 0, errors.New("the terminal is gone")
		}
		return k, nil
	}
}

// line reads a line in the middle of a question.
func (t *Terminal) line(ctx context.Context, prompt string) (string, error) {
	fmt.Fprint(t.c.Out, prompt)
	var typed []byte
	for {
		k, err := t.key(ctx)
		if err != nil {
			return "", err
		}
		switch k {
		case '\r', '\n':
			t.say("")
			return strings.TrimSpace(string(typed)), nil
		case ctrlC:
			return "", errQuit
		default:
			typed = editLine(typed, k)
			fmt.Fprintf(t.c.Out, "\r\x1b[K%s%s", prompt, typed)
		}
	}
}

// editLine adds a key to a line, or takes the last letter away.
func editLine(typed []byte, k byte) []byte {
	switch {
	case (k == 8 || k == 127) && len(typed) > 0:
		_, n := utf8.DecodeLastRune(typed)
		return typed[:len(typed)-n]
	case k >= ' ' && k != 127:
		return append(typed, k)
	}
	return typed
}

// Pick asks for one of several names and returns its index.
func (t *Terminal) Pick(ctx context.Context, question string, names []string) (int, error) {
	for {
		t.say("\n%s", question)
		for i, name := range names {
			t.say("  %d  %s", i+1, name)
		}
		line, err := t.line(ctx, "number: ")
		if err != nil {
			return 0, err
		}
		if line == "q" {
			return 0, errQuit
		}
		if n, err := strconv.Atoi(line); err == nil && n >= 1 && n <= len(names) {
			return n - 1, nil
		}
		t.say("%q is none of them.", line)
	}
}

// question is what the operator is asked, in words.
type question string

// Questions that a line of text or a key answers.
const (
	askNote    question = "note"
	askReading question = "reading: forward and up in mm, as in -31.5 12"
	askLevel   question = "level read at the fixture's ear, dB(A)"
	askFixture question = "Is this headphone on the fixture, and does nobody wear it? y plays rising sweeps"
	askDrop    question = "Take this row out of the plan? y does"
)
