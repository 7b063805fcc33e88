package resultdir

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
)

// Names of the lists, under results/. SumsFile names everything that the last
// run left with its checksum, in the format of sha256sum, so that anybody can see
// whether the files belong together; it is written last. JournalFile lies there
// while files are exchanged and names the former and the new ones.
const (
	SumsFile    = "SHA256SUMS"
	JournalFile = ".writing"
	maxSums     = 4 << 20
	keyLine     = "# asworn "
)

// sum is the SHA-256 of a file's content.
type sum = [sha256.Size]byte

// Sums is a list of files under results/ by name, with slashes. A name may
// have several sums in a journal.
type Sums struct {
	Key cache.Key // of everything that the files show; zero where the list is not as it was written
	Of  map[string][]sum
}

// ReadSums gives an empty list where there is none. Lines that are not of
// its format name nothing.
func ReadSums(file string) Sums {
	text, err := disk.ReadFile(file, maxSums)
	if err != nil {
		text = nil
	}
	return parse(text)
}

func parse(text []byte) Sums {
	w := Sums{Of: map[string][]sum{}}
	head, list, _ := strings.Cut(string(text), "\n")
	if digits, ok := strings.CutPrefix(head, keyLine); ok {
		key, own, _ := strings.Cut(digits, " ")
		raw, err := hex.DecodeString(key)
		if err == nil && len(raw) == len(w.Key) && own == ownSum(key, list) {
			w.Key = cache.Key(raw)
		}
	}
	for line := range strings.Lines(list) {
		line = strings.TrimSuffix(line, "\n")
		digits, name, ok := strings.Cut(line, "  ")
		raw, err := hex.DecodeString(digits)
		if ok && err == nil && len(raw) == sha256.Size && fs.ValidPath(name) {
			w.Of[name] = append(w.Of[name], sum(raw))
		}
	}
	return w
}

func (w Sums) text() []byte {
	var b strings.Builder
	for _, name := range slices.Sorted(maps.Keys(w.Of)) {
		for _, s := range w.Of[name] {
			fmt.Fprintf(&b, "%x  %s\n", s, name)
		}
	}
	key := w.Key.String()
	return []byte(keyLine + key + " " + ownSum(key, b.String()) + "\n" + b.String())
}

// ownSum is the sum of the list itself: without it a list that was cut short would
// vouch for what it no longer names.
func ownSum(key, list string) string {
	s := sha256.Sum256([]byte(key + "\n" + list))
	return hex.EncodeToString(s[:])
}

// join adds the sums of another list.
func (w Sums) join(other Sums) {
	for name, sums := range other.Of {
		for _, s := range sums {
			if !slices.Contains(w.Of[name], s) {
				w.Of[name] = append(w.Of[name], s)
			}
		}
	}
}

// Changed returns the names that do not lie below root as they were written.
func (w Sums) Changed(root *os.Root) (names []string) {
	for _, name := range slices.Sorted(maps.Keys(w.Of)) {
		if s, ok := sumIn(root, name); !ok || !slices.Contains(w.Of[name], s) {
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

// File is one file to be written under results/.
type File struct {
	Name    string // with slashes
	Content []byte
}

// Exchange puts files in place of what an earlier call wrote, and removes of
// that what is no longer there; keep names files that stay as they are. Files
// that asworn did not write, or that somebody changed, are left alone, and
// nothing is written through a link that leads out of results/.
func Exchange(root *os.Root, key cache.Key, files []File, keep ...string) error {
	before := ReadSums(filepath.Join(root.Name(), SumsFile))
	own := ReadSums(filepath.Join(root.Name(), JournalFile))
	own.join(before)
	now := Sums{Key: key, Of: map[string][]sum{}}
	for _, f := range files {
		now.Of[f.Name] = []sum{sha256.Sum256(f.Content)}
	}
	for _, name := range keep {
		if s, ok := before.Of[name]; ok {
			now.Of[name] = s
		}
	}
	own.join(now)
	if err := disk.WriteIn(root, JournalFile, own.text()); err != nil {
		return err
	}
	var writes errgroup.Group
	writes.SetLimit(runtime.GOMAXPROCS(0))
	for _, f := range files {
		writes.Go(func() error {
			if s, ok := sumIn(root, f.Name); ok && s == now.Of[f.Name][0] {
				return nil
			}
			if err := disk.WriteIn(root, filepath.FromSlash(f.Name), f.Content); err != nil {
				return fmt.Errorf("%s: %w; nothing else than a folder of its own may lie in its way", filepath.Join(root.Name(), filepath.FromSlash(f.Name)), err)
			}
			return nil
		})
	}
	if err := writes.Wait(); err != nil {
		return err
	}
	for name, sums := range own.Of {
		if _, again := now.Of[name]; again {
			continue
		}
		if s, ok := sumIn(root, name); ok && slices.Contains(sums, s) {
			if err := root.Remove(filepath.FromSlash(name)); err != nil {
				return err
			}
		}
	}
	if err := disk.WriteIn(root, SumsFile, now.text()); err != nil {
		return err
	}
	return root.Remove(JournalFile)
}

// ErrChanged is what a file under results/ gives that is not as it was written.
var ErrChanged = errors.New("it is not what the last run wrote (" + SumsFile + "): it was changed, or a run was interrupted")

// ReadBack reads a file that a run wrote under results/, of at most limit bytes,
// and holds it against the list of what was written.
func ReadBack(dir, name string, limit int64) ([]byte, error) {
	root := Root(dir)
	path := filepath.Join(root, filepath.FromSlash(name))
	b, err := disk.ReadFile(path, limit)
	switch {
	case errors.Is(err, fs.ErrNotExist) && len(study.FixturesOf(dir)) > 1:
		return nil, fmt.Errorf("%s: the study declares several fixtures; name one: %s", dir, study.At(dir, study.FixturesOf(dir)[0]))
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("%s: no results yet; run 'asworn run %s' first", path, dir)
	case err != nil:
		return nil, err
	case !slices.Contains(ReadSums(filepath.Join(root, SumsFile)).Of[name], sha256.Sum256(b)):
		return nil, fmt.Errorf("%s: %w; run 'asworn run %s' again", path, ErrChanged, dir)
	}
	return b, nil
}
