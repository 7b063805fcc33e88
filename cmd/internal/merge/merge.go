// Package merge joins studies of one lab into a new one. It only reads the
// studies that it joins, and knows nothing of what recordings hold.
package merge

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/capture/textfile"
	"asworn/cmd/internal/cache"
)

// Studies makes the study dir out of the studies in two or more other folders:
// the settings that they share, the rows and readings of all in order, and copies of
// every file that settings and rows name. Rows that are still to be recorded or read
// come along as such.
//
// It returns textfile.Errors, all of them at once, and writes nothing when settings
// differ (title and earlier studies apart), when rows clash or two files of one path
// differ; and an error when dir holds a study already. A folder that was left
// unfinished has no study.toml and is no study.
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
	rows, clashes, err := rowsOf(parts)
	if err != nil {
		return study.Study{}, err
	}
	files, differ, err := filesOf(dir, parts)
	if err != nil {
		return study.Study{}, err
	}
	problems = slices.Concat(problems, differ, clashes, readingsClash(parts))
	merged.Readings = once(parts, func(s *study.Study) []study.ReadingRow { return foundBy(parts, s) })
	merged.NotRead = once(parts, func(s *study.Study) []study.ReadingRow { return s.NotRead })
	texts, err := textsOf(merged, rows)
	if err != nil {
		return study.Study{}, err
	}
	for _, t := range texts {
		problems = append(problems, t.another()...)
	}
	if len(problems) > 0 {
		return study.Study{}, problems
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return study.Study{}, err
	}
	for _, f := range files {
		if err := f.copy(dir); err != nil {
			return study.Study{}, err
		}
	}
	for _, t := range texts {
		if err := disk.WriteFile(t.path, t.content); err != nil {
			return study.Study{}, err
		}
	}
	back, err := study.LoadPartial(dir)
	if err != nil {
		return study.Study{}, err
	}
	return *back, nil
}

// earlierThan lists what earlier studies the parts name, each once, as dir names
// them. What a part itself told later ones is left out: dir holds its recordings.
func earlierThan(parts []*study.Study, dir string) ([]string, error) {
	var out []string
	root, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	told := map[cache.Key]bool{}
	for _, s := range parts {
		for _, pattern := range []string{"results/panel.json", "results/*/panel.json"} {
			names, _ := filepath.Glob(filepath.Join(escaped(s.Dir), filepath.FromSlash(pattern))) // the pattern is one
			for _, name := range names {
				if sum, err := cache.FileKey(name); err == nil {
					told[sum] = true
				}
			}
		}
	}
	for _, s := range parts {
		for _, name := range s.Earlier {
			at := filepath.FromSlash(name)
			if !filepath.IsAbs(at) {
				if at, err = filepath.Abs(filepath.Join(s.Dir, at)); err != nil {
					return nil, err
				}
				if name, err = filepath.Rel(root, at); err != nil {
					return nil, err
				}
				name = filepath.ToSlash(name)
			}
			if sum, err := cache.FileKey(at); err == nil && told[sum] {
				continue
			}
			if !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	return out, nil
}

// escaped is a path as filepath.Glob takes it literally.
func escaped(path string) string {
	if filepath.Separator == '\\' {
		return path // nothing escapes there, and brackets are rare
	}
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
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

// textsOf are the sheets and settings of the merged study, study.toml the last: until
// it is there the folder is no study.
func textsOf(merged study.Study, rows []study.Seating) (out []text, err error) {
	add := func(name string, write func(io.Writer) error) {
		var b bytes.Buffer
		err = errors.Join(err, write(&b))
		out = append(out, text{filepath.Join(merged.Dir, name), b.Bytes()})
	}
	add(study.SheetFile, func(w io.Writer) error { return study.WriteSheet(w, rows) })
	if len(merged.Readings)+len(merged.NotRead) > 0 {
		add(study.ReadingsFile, func(w io.Writer) error { return study.WriteReadings(w, merged.Readings, merged.NotRead) })
	}
	add(study.SettingsFile, func(w io.Writer) error { return study.WriteSettings(w, merged) })
	return out, err
}

// text is a file that is written anew.
type text struct {
	path    string
	content []byte
}

// another reports a text of that path that somebody else wrote.
func (t text) another() (problems textfile.Errors) {
	if old, err := os.ReadFile(t.path); err == nil && !bytes.Equal(old, t.content) {
		problems = append(problems, thereAlready(t.path))
	}
	return problems
}
