package finding

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestCodesInDocs holds the table in docs/quality.md against the codes: each is
// there once, with its usual severity among those named, and has a mend.
func TestCodesInDocs(t *testing.T) {
	page, err := os.ReadFile("../../docs/quality.md")
	if err != nil {
		t.Fatal(err)
	}
	words := map[Severity]string{Note: "note", Warning: "warning", Refusal: "rejected"}
	said := map[Code]string{}
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z-]+)` \\| ([^|]*) \\|").FindAllStringSubmatch(string(page), -1) {
		if said[Code(m[1])] != "" {
			t.Errorf("%s is there twice", m[1])
		}
		said[Code(m[1])] = m[2]
	}
	for _, c := range codes() {
		f := New(c, "")
		if f.Mend == "" {
			t.Errorf("%s: no mend", c)
		}
		// "the same" refers to the row above.
		if s, ok := said[c]; !ok || !(strings.Contains(s, words[f.Severity]) || s == "the same") {
			t.Errorf("%s: %s by the code, %q in docs/quality.md", c, words[f.Severity], s)
		}
	}
	if len(said) != len(codes()) {
		t.Errorf("%d codes in docs/quality.md, %d in the code", len(said), len(codes()))
	}
	if known := codes(); len(slices.Compact(slices.Sorted(slices.Values(known)))) != len(known) {
		t.Error("a code is there twice")
	}
}

// TestNew gives a code that nobody knows a refusal, not a note.
func TestNew(t *testing.T) {
	if f := New("no such code", "x"); f.Severity != Refusal || f.Mend != "" || f.Message != "x" {
		t.Errorf("%+v", f)
	}
	f := New(Drift, "x").On("left").Of(3, "ppm").Rated(Warning).Mended("y")
	if f != (Finding{Drift, Warning, "left", 3, "ppm", "x", "y"}) {
		t.Errorf("%+v", f)
	}
}

// codes lists every code.
func codes() []Code {
	var out []Code
	for _, u := range table() {
		out = append(out, u.code)
	}
	return out
}
