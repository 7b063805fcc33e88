// Package merge joins studies of one lab into a new one. It only reads the
// studies that it joins, and knows nothing of what recordings hold.
package merge

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/capture/textfile"
)

// Studies makes the study dir out of the studies in two or more other folders:
// the settings that they share, the rows of all in order, and copies of every
// file that settings and rows name. Rows that are still to be recorded come
// along as such.
//
// It returns textfile.Errors, all of them at once, and writes nothing when
// settings differ (title and earlier studies apart), when two files of one path differ, when a
// path of a recording is in two studies, or when two rows name the same
// placement; and an error when dir holds a study already. A folder that was
// left unfinished has no study.toml and is no study.
func Studies(dir string, from []string) (study.Study, error) {
	if _, err := os.Lstat(filepath.Join(dir, study.SettingsFile)); err == nil {
		return study.Study{}, fmt.Errorf("%s: there is a study already; name a new folder", dir)
	}
	var parts []*study.Study
	for _, f := range from {
		s, err := study.LoadPartial(f)
		if err != nil {
			return study.Study{}, err
		}
		parts = append(parts, s)
	}
	merged := *parts[0]
	merged.Dir = dir
	var titles []string
	for _, s := range parts {
		titles = append(titles, s.Title)
	}
	merged.Title = strings.Join(titles, " + ")
	var err error
	if merged.Earlier, err = earlierThan(parts, dir); err != nil {
		return study.Study{}, err
	}

	problems, err := settingsDiffer(parts)
	if err != nil {
		return study.Study{}, err
	}
	files, err := filesDiffer(parts)
	if err != nil {
		return study.Study{}, err
	}
	rows, clashes, err := clash(parts)
	if err != nil {
		return study.Study{}, err
	}
	if problems = slices.Concat(problems, files, clashes); len(problems) > 0 {
		return study.Study{}, problems
	}
	if err := write(merged, parts, rows); err != nil {
		return study.Study{}, err
	}
	back, err := study.LoadPartial(dir)
	if err != nil {
		return study.Study{}, err
	}
	return *back, nil
}

// earlierThan lists what earlier studies the parts name, each once, as dir names them.
func earlierThan(parts []*study.Study, dir string) ([]string, error) {
	var out []string
	root, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	for _, s := range parts {
		for _, name := range s.Earlier {
			if !filepath.IsAbs(filepath.FromSlash(name)) {
				at, err := filepath.Abs(filepath.Join(s.Dir, filepath.FromSlash(name)))
				if err != nil {
					return nil, err
				}
				if at, err = filepath.Rel(root, at); err != nil {
					return nil, err
				}
				name = filepath.ToSlash(at)
			}
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	return out, nil
}

// settingsDiffer compares the settings of every study with those of the first.
func settingsDiffer(parts []*study.Study) (textfile.Errors, error) {
	first, err := settings(*parts[0])
	if err != nil {
		return nil, err
	}
	var problems textfile.Errors
	for _, s := range parts[1:] {
		other, err := settings(*s)
		if err != nil {
			return nil, err
		}
		keys := maps.Clone(first)
		maps.Copy(keys, other)
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			if first[k] != other[k] {
				problems = append(problems, textfile.Problem{File: filepath.Join(s.Dir, study.SettingsFile),
					Message: fmt.Sprintf("%s is %s, but %s in %s", k, said(other[k]), said(first[k]), parts[0].Dir),
					Mend:    "studies that are merged share their settings: correct the one that is wrong, or keep the studies apart"})
			}
		}
	}
	return problems, nil
}

// settings returns what study.toml would say of a study, by dotted key,
// without the title.
func settings(s study.Study) (map[string]string, error) {
	s.Title, s.Earlier = "", nil
	var b bytes.Buffer
	if err := study.WriteSettings(&b, s); err != nil {
		return nil, err
	}
	var tree map[string]any
	if err := toml.Unmarshal(b.Bytes(), &tree); err != nil {
		return nil, err
	}
	flat := map[string]string{}
	flatten(flat, "", tree)
	return flat, nil
}

func flatten(into map[string]string, prefix string, tree map[string]any) {
	for k, v := range tree {
		if sub, ok := v.(map[string]any); ok {
			flatten(into, prefix+k+".", sub)
			continue
		}
		into[prefix+k] = fmt.Sprintf("%v", v)
	}
}

func said(v string) string {
	if v == "" {
		return "not set"
	}
	return v
}

// placement is what may stand once in a sheet: one recording of one seating.
type placement struct {
	model, unit, subject string
	point                study.Point
	number               int
	survey               study.Displacement
	displaced            bool
}

func placementOf(r study.Seating) placement {
	p := placement{model: r.Model, unit: r.Unit, subject: r.Subject, point: r.Point, number: r.Number}
	if r.Displaced() {
		p.survey, p.displaced = *r.Survey, true
	}
	return p
}

// clash finds rows of different studies that name the same placement or the
// same recording. A row that two studies have with the same recording, byte for
// byte, is no clash: it is taken from the first alone. The rows to take are
// returned by study.
func clash(parts []*study.Study) ([][]study.Seating, textfile.Errors, error) {
	type at struct {
		part *study.Study
		row  study.Seating
	}
	var problems textfile.Errors
	taken := make([][]study.Seating, len(parts))
	placements, paths := map[placement]at{}, map[string]at{}
	for i, s := range parts {
		sheet := filepath.Join(s.Dir, study.SheetFile)
		for _, r := range rowsOf(s) {
			key := placementOf(r)
			was, again := placements[key]
			file, used := paths[r.File]
			again, used = again && was.part != s, used && file.part != s
			if again && used && was.row.File == r.File {
				same, err := sameBytes(filepath.Join(was.part.Dir, r.File), filepath.Join(s.Dir, r.File))
				if err != nil {
					return nil, nil, err
				}
				if same {
					continue
				}
			}
			if again {
				problems = append(problems, textfile.Problem{File: sheet, Line: r.Row,
					Message: fmt.Sprintf("the same placement is row %d of %s", was.row.Row, filepath.Join(was.part.Dir, study.SheetFile)),
					Mend:    "give one of the two another seating number, or take one out"})
			}
			if used {
				problems = append(problems, textfile.Problem{File: sheet, Line: r.Row,
					Message: fmt.Sprintf("%s is also the recording of row %d of %s", r.File, file.row.Row, filepath.Join(file.part.Dir, study.SheetFile)),
					Mend:    "rename the recording in one of the studies, in the folder and in the sheet"})
			}
			placements[key], paths[r.File] = at{s, r}, at{s, r}
			taken[i] = append(taken[i], r)
		}
	}
	return taken, problems, nil
}

// filesDiffer finds files of settings that share a path and not their content.
func filesDiffer(parts []*study.Study) (textfile.Errors, error) {
	var problems textfile.Errors
	first := parts[0]
	for _, s := range parts[1:] {
		for _, f := range settingsFiles(*s) {
			same, err := sameBytes(filepath.Join(first.Dir, filepath.FromSlash(f)), filepath.Join(s.Dir, filepath.FromSlash(f)))
			if errors.Is(err, fs.ErrNotExist) {
				continue // named by one study alone: the settings differ, which is told
			}
			if err != nil {
				return nil, err
			}
			if !same {
				problems = append(problems, textfile.Problem{File: filepath.Join(s.Dir, filepath.FromSlash(f)),
					Message: "differs from the file of the same name in " + first.Dir,
					Mend:    "one study has one calibration, one excitation and one reference; keep studies apart that were recorded with others"})
			}
		}
	}
	return problems, nil
}

// sameBytes compares two files; two that are both missing are the same, one alone
// is not what the other is.
func sameBytes(a, b string) (bool, error) {
	x, errX := digest(a)
	y, errY := digest(b)
	lacksX, lacksY := errors.Is(errX, fs.ErrNotExist), errors.Is(errY, fs.ErrNotExist)
	if lacksX || lacksY {
		return lacksX && lacksY, nil
	}
	return x == y, errors.Join(errX, errY)
}

func digest(name string) (sum [sha256.Size]byte, err error) {
	f, err := disk.Open(name)
	if err != nil {
		return sum, err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return sum, err
	}
	return [sha256.Size]byte(h.Sum(nil)), nil
}

// rowsOf returns all rows of a study in the order of its sheet.
func rowsOf(s *study.Study) []study.Seating {
	rows := slices.Concat(s.Seatings, s.NotRecorded)
	slices.SortFunc(rows, func(a, b study.Seating) int { return a.Row - b.Row })
	return rows
}

// settingsFiles lists the files that the settings of a study name.
func settingsFiles(s study.Study) []string {
	files := []string{s.Excitation, s.Fixture.Reference}
	for _, m := range s.Microphones {
		files = append(files, m.Correction, m.Calibrator, m.CalibratorAfter)
	}
	slices.Sort(files)
	files = slices.Compact(files)
	return slices.DeleteFunc(files, func(f string) bool { return f == "" })
}

// write copies the files and writes sheet and settings, study.toml last: until
// then the folder is no study.
func write(merged study.Study, parts []*study.Study, taken [][]study.Seating) error {
	for i, s := range parts {
		for _, r := range taken[i] {
			err := copyFile(merged.Dir, s.Dir, r.File)
			if err != nil && !errors.Is(err, fs.ErrNotExist) { // still to be recorded
				return err
			}
		}
	}
	rows := slices.Concat(taken...)
	for _, f := range settingsFiles(merged) {
		if err := copyFile(merged.Dir, parts[0].Dir, f); err != nil {
			return err
		}
	}
	if err := render(filepath.Join(merged.Dir, study.SheetFile), func(w io.Writer) error { return study.WriteSheet(w, rows) }); err != nil {
		return err
	}
	if readings := readingsOf(parts, taken); len(readings) > 0 {
		if err := render(filepath.Join(merged.Dir, study.ReadingsFile), func(w io.Writer) error { return study.WriteReadings(w, readings) }); err != nil {
			return err
		}
	}
	return render(filepath.Join(merged.Dir, study.SettingsFile), func(w io.Writer) error { return study.WriteSettings(w, merged) })
}

// readingsOf gathers the readings of the rows that were taken, and all findings of
// canal entrances.
func readingsOf(parts []*study.Study, taken [][]study.Seating) (out []study.ReadingRow) {
	for i, s := range parts {
		for _, r := range s.Readings {
			mine := func(row study.Seating) bool {
				return row.Subject == r.Subject && row.Model == r.Model && row.Number == r.Number
			}
			if r.Model == "" || slices.ContainsFunc(taken[i], mine) {
				out = append(out, r)
			}
		}
	}
	return out
}

func render(name string, f func(io.Writer) error) error {
	var b bytes.Buffer
	if err := f(&b); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	return disk.WriteFile(name, b.Bytes())
}

// copyFile copies the file name, a slash-separated path below both folders.
// The original is only read; the copy is there whole or not at all.
func copyFile(to, from, name string) error {
	in, err := disk.Open(filepath.Join(from, filepath.FromSlash(name)))
	if err != nil {
		return err
	}
	defer in.Close()
	target := filepath.Join(to, filepath.FromSlash(name))
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
