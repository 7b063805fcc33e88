package merge

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/capture/textfile"
	"asworn/cmd/internal/cache"
)

// file is one that the merged study holds: a slash-separated path below its folder
// and below that of the study from which it comes.
type file struct {
	name, from string
}

// filesOf lists the files of all studies, each path once, and finds paths that hold
// different things in two studies, or something else in dir already. What lies in a
// study's own sheet under the path of a row of another is told of the rows.
func filesOf(dir string, parts []*study.Study) (out []file, problems textfile.Errors, err error) {
	settings := map[string]bool{}
	at := map[string]file{}
	for _, s := range parts {
		own := s.SettingsFiles()
		for _, name := range own {
			settings[name] = true
		}
		for _, r := range allRows(s) {
			own = append(own, r.Files()...)
		}
		for _, name := range own {
			f := file{name, s.Dir}
			first, again := at[name]
			if !again {
				at[name] = f
				out = append(out, f)
				continue
			}
			if !settings[name] { // rowsOf has compared it
				continue
			}
			if same, err := sameBytes(first.path(), f.path()); err != nil {
				return nil, nil, err
			} else if !same {
				problems = append(problems, textfile.Problem{File: f.path(), Message: "differs from the file of the same name in " + first.from,
					Mend: "one study has one calibration, one excitation and one reference; keep studies apart that were recorded with others"})
			}
		}
	}
	for _, f := range out {
		target := filepath.Join(dir, filepath.FromSlash(f.name))
		if _, err := os.Lstat(target); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if same, err := sameBytes(f.path(), target); err != nil {
			return nil, nil, err
		} else if !same {
			problems = append(problems, thereAlready(target))
		}
	}
	return out, problems, nil
}

func (f file) path() string { return filepath.Join(f.from, filepath.FromSlash(f.name)) }

// copy copies the file; one that is still to be recorded is passed over. The original
// is only read; the copy is there whole or not at all.
func (f file) copy(to string) error {
	in, err := disk.Open(f.path())
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer in.Close()
	target := filepath.Join(to, filepath.FromSlash(f.name))
	if err := os.MkdirAll(filepath.Dir(target), 0o777); err != nil {
		return err
	}
	out, err := disk.Create(target)
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, in); err != nil {
		return errors.Join(err, out.Abort())
	}
	return out.Commit()
}

func thereAlready(path string) textfile.Problem {
	return textfile.Problem{File: path, Message: "there is another file already", Mend: "name a new folder"}
}

// sameBytes compares two files; two that are both missing are the same, one alone
// is not what the other is.
func sameBytes(a, b string) (bool, error) {
	x, errX := cache.FileKey(a)
	y, errY := cache.FileKey(b)
	lacksX, lacksY := errors.Is(errX, fs.ErrNotExist), errors.Is(errY, fs.ErrNotExist)
	if lacksX || lacksY {
		return lacksX && lacksY, nil
	}
	return x == y, errors.Join(errX, errY)
}

// allRows are the rows of a study in the order of its sheet.
func allRows(s *study.Study) []study.Seating {
	rows := slices.Concat(s.Seatings, s.NotRecorded)
	slices.SortFunc(rows, func(a, b study.Seating) int { return a.Row - b.Row })
	return rows
}
