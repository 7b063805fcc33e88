package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
)

// Names of the lists, under results/. sumsFile names everything that the last
// run left with its checksum, in the format of sha256sum, so that anybody can see
// whether the files belong together; it is written last. journalFile lies there
// while files are exchanged and names the former and the new ones.
const (
	sumsFile    = "SHA256SUMS"
	journalFile = ".writing"
	maxSums     = 4 << 20
	keyLine     = "# asworn "
)

// sum is the SHA-256 of a file's content.
type sum = [sha256.Size]byte

// sumList is a list of files under results/ by name, with slashes. A name may
// have several sums in a journal.
type sumList struct {
	key  cache.Key // of everything that the files show
	sums map[string][]sum
}

// readWritten gives an empty list where there is none. Lines that are not of
// its format name nothing.
func readWritten(file string) sumList {
	w := sumList{sums: map[string][]sum{}}
	text, err := disk.ReadFile(file, maxSums)
	if err != nil {
		return w
	}
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		if digits, ok := strings.CutPrefix(line, keyLine); ok {
			if raw, err := hex.DecodeString(digits); err == nil && len(raw) == len(w.key) {
				w.key = cache.Key(raw)
			}
			continue
		}
		digits, name, ok := strings.Cut(line, "  ")
		raw, err := hex.DecodeString(digits)
		if ok && err == nil && len(raw) == sha256.Size && fs.ValidPath(name) {
			w.sums[name] = append(w.sums[name], sum(raw))
		}
	}
	return w
}

func (w sumList) text() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s%s\n", keyLine, w.key)
	for _, name := range slices.Sorted(maps.Keys(w.sums)) {
		for _, s := range w.sums[name] {
			fmt.Fprintf(&b, "%x  %s\n", s, name)
		}
	}
	return b.Bytes()
}

// join adds the sums of another list.
func (w sumList) join(other sumList) {
	for name, sums := range other.sums {
		for _, s := range sums {
			if !slices.Contains(w.sums[name], s) {
				w.sums[name] = append(w.sums[name], s)
			}
		}
	}
}

// changed returns the names that do not lie below root as they were written.
func (w sumList) changed(root *os.Root) (names []string) {
	for _, name := range slices.Sorted(maps.Keys(w.sums)) {
		if s, ok := sumIn(root, name); !ok || !slices.Contains(w.sums[name], s) {
			names = append(names, name)
		}
	}
	return names
}

// sumIn is the sum of a regular file below root.
func sumIn(root *os.Root, name string) (sum, bool) {
	name = filepath.FromSlash(name)
	if info, err := root.Lstat(name); err != nil || !info.Mode().IsRegular() {
		return sum{}, false
	}
	f, err := root.Open(name)
	if err != nil {
		return sum{}, false
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return sum{}, false
	}
	return sum(h.Sum(nil)), true
}

// outFile is one file to be written under results/.
type outFile struct {
	name    string // with slashes
	content []byte
}

// exchange puts files in place of what an earlier call wrote, and removes of
// that what is no longer there; keep names files that stay as they are. Files
// that asworn did not write, or that somebody changed, are left alone, and
// nothing is written through a link that leads out of results/.
func exchange(root *os.Root, key cache.Key, files []outFile, keep ...string) error {
	before := readWritten(filepath.Join(root.Name(), sumsFile))
	own := readWritten(filepath.Join(root.Name(), journalFile))
	own.join(before)
	now := sumList{key: key, sums: map[string][]sum{}}
	for _, f := range files {
		now.sums[f.name] = []sum{sha256.Sum256(f.content)}
	}
	for _, name := range keep {
		if s, ok := before.sums[name]; ok {
			now.sums[name] = s
		}
	}
	own.join(now)
	if err := disk.WriteIn(root, journalFile, own.text()); err != nil {
		return err
	}
	for _, f := range files {
		if s, ok := sumIn(root, f.name); ok && s == now.sums[f.name][0] {
			continue
		}
		if err := disk.WriteIn(root, filepath.FromSlash(f.name), f.content); err != nil {
			return fmt.Errorf("%s: %w; nothing else than a folder of its own may lie in its way", filepath.Join(root.Name(), filepath.FromSlash(f.name)), err)
		}
	}
	for name, sums := range own.sums {
		if _, again := now.sums[name]; again {
			continue
		}
		if s, ok := sumIn(root, name); ok && slices.Contains(sums, s) {
			if err := root.Remove(filepath.FromSlash(name)); err != nil {
				return err
			}
		}
	}
	if err := disk.WriteIn(root, sumsFile, now.text()); err != nil {
		return err
	}
	return root.Remove(journalFile)
}

// errChanged is what a file under results/ gives that is not as it was written.
var errChanged = errors.New("it is not what the last run wrote (" + sumsFile + "): it was changed, or a run was interrupted")

// readBack reads a file that a run wrote under results/, of at most limit bytes,
// and holds it against the list of what was written.
func readBack(dir, name string, limit int64) ([]byte, error) {
	root := resultsRoot(dir)
	path := filepath.Join(root, filepath.FromSlash(name))
	b, err := disk.ReadFile(path, limit)
	switch {
	case errors.Is(err, fs.ErrNotExist) && len(study.FixturesOf(dir)) > 1:
		return nil, fmt.Errorf("%s: the study declares several fixtures; name one: %s", dir, study.At(dir, study.FixturesOf(dir)[0]))
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: no results yet; run 'asworn run %s' first", path, dir)
	case err != nil:
		return nil, err
	case !slices.Contains(readWritten(filepath.Join(root, sumsFile)).sums[name], sha256.Sum256(b)):
		return nil, fmt.Errorf("%s: %w; run 'asworn run %s' again", path, errChanged, dir)
	}
	return b, nil
}
