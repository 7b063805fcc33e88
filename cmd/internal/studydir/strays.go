package studydir

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"asworn/capture"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/resultdir"
)

// Twins are two recordings that hold the same bytes.
type Twins struct {
	File string `json:"file"` // of a row
	Also string `json:"also"` // of another row, or of none
}

// Strays lists the WAV files in a study's folder that are in no row of the
// sheet and serve nothing else, with slashes, in lexical order.
func Strays(dir string, st *capture.Study) []string {
	known := map[string]bool{SweepFile: true, st.Excitation: true}
	for _, rows := range [][]capture.Seating{st.Seatings, st.NotRecorded} {
		for _, r := range rows {
			known[r.File] = true
		}
	}
	for _, f := range st.Elsewhere {
		known[f] = true
	}
	for _, m := range st.Microphones {
		known[m.Calibrator], known[m.CalibratorAfter] = true, true
	}
	var out []string
	// What cannot be listed is told where it is read.
	_ = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return nil
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return nil
		}
		name := filepath.ToSlash(rel)
		switch {
		case d.IsDir() && (name == resultdir.Dir || name == RetakesDir || name == "calibration" || name != "." && strings.HasPrefix(d.Name(), ".")):
			return fs.SkipDir
		case !d.Type().IsRegular() || strings.HasPrefix(d.Name(), ".") || !strings.EqualFold(filepath.Ext(name), ".wav") || known[name]:
		default:
			out = append(out, name)
		}
		return nil
	})
	return out
}

// FindTwins finds rows whose recordings hold the same bytes, and strays that hold
// those of a row; responses are the keys of the rows' responses. Strays are only read
// where their size is that of a row.
func FindTwins(dir string, rows []capture.Seating, responses []cache.Key, strays []string) (out []Twins, err error) {
	first, sizes := map[cache.Key]string{}, map[int64][]string{}
	for i, r := range rows {
		if earlier, ok := first[responses[i]]; ok {
			out = append(out, Twins{earlier, r.File})
			continue
		}
		first[responses[i]] = r.File
		if info, err := os.Stat(filepath.Join(dir, filepath.FromSlash(r.File))); err == nil {
			sizes[info.Size()] = append(sizes[info.Size()], r.File)
		}
	}
	// Many strays may have the size of many rows: each file is read once.
	known := map[string]cache.Key{}
	keyOf := func(file string) (cache.Key, error) {
		if key, ok := known[file]; ok {
			return key, nil
		}
		key, err := cache.FileKey(filepath.Join(dir, filepath.FromSlash(file)))
		if err == nil {
			known[file] = key
		}
		return key, err
	}
	for _, s := range strays {
		path := filepath.Join(dir, filepath.FromSlash(s))
		info, err := os.Stat(path)
		if err != nil || len(sizes[info.Size()]) == 0 {
			continue
		}
		own, err := cache.FileKey(path)
		if err != nil {
			return nil, err
		}
		for _, file := range sizes[info.Size()] {
			key, err := keyOf(file)
			if err != nil {
				return nil, err
			}
			if key == own {
				out = append(out, Twins{file, s})
				break
			}
		}
	}
	return out, nil
}
