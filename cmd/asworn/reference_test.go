package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/cmd/internal/console"
	"asworn/testdata/vectors"
)

// The manikin's set becomes a reference curve; a right ear that it does not
// hold, and a file that is cut short, are refused.
func TestReferenceCommand(t *testing.T) {
	dir := t.TempDir()
	z, err := gzip.NewReader(vectors.Open(t, "sofa", "manikin.json.gz"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	set, binary, out := filepath.Join(dir, "set.json"), filepath.Join(dir, "set.sofa"), filepath.Join(dir, "reference.csv")
	for name, content := range map[string][]byte{set: text, binary: []byte("\x89HDF\r\n\x1a\n")} {
		if err := os.WriteFile(name, content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		args []string
		code int
		want string // on stderr
	}{
		{[]string{"reference", set, "--free-field", "--out", out}, console.Done, "stand in for it"},
		{[]string{"reference", set, "--out", out}, console.Failed, "reference.csv"}, // is there already
		{[]string{"reference", set, "--ear", "right"}, console.Failed, "receiver 2 of 1"},
		{[]string{"reference", set, "--ear", "both"}, console.Usage, "left or right"},
		{[]string{"reference", binary}, console.Failed, "cut short"},
	} {
		var stdout, stderr bytes.Buffer
		if code := execute(context.Background(), c.args, &stdout, &stderr); code != c.code || !strings.Contains(stderr.String(), c.want) {
			t.Errorf("%v: exit %d, stderr %q; want %d and %q", c.args, code, stderr.String(), c.code, c.want)
		}
	}
	curve, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(curve)), "\n")
	if len(lines) < 100 || lines[0] != "frequency_hz,level_db" {
		t.Errorf("%d lines, %q", len(lines), lines[0])
	}
}
