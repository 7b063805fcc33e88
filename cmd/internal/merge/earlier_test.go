package merge

import (
	"path/filepath"
	"slices"
	"testing"

	"asworn/capture/study"
)

// Earlier studies stay the same files, wherever the merged study lies.
func TestEarlierThan(t *testing.T) {
	root := t.TempDir()
	far := filepath.ToSlash(filepath.Join(root, "far.json"))
	parts := []*study.Study{
		{Dir: filepath.Join(root, "a"), Earlier: []string{"../old/results/panel.json", far}},
		{Dir: filepath.Join(root, "x", "b"), Earlier: []string{"../../old/results/panel.json", "own.json"}},
	}
	got, err := earlierThan(parts, filepath.Join(root, "y", "z", "all"))
	want := []string{"../../../old/results/panel.json", far, "../../../x/b/own.json"}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%q, %v, want %q", got, err, want)
	}
}
