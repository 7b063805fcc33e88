package bench

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"asworn/capture"
	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/plan"
	"asworn/cmd/internal/studydir"
)

// Where takes are kept in the study's folder. A take is whole under its hidden
// name before anything else is touched, so that a program that is killed at any
// point loses none: Recover brings the last one to its place.
const (
	// RetakesDir holds what a later take replaced, and what was undone.
	RetakesDir  = studydir.RetakesDir
	droppedFile = "dropped.csv"
	takePrefix  = ".take-"
	backupDir   = "sheets" // under RetakesDir: the sheet as it was before a session changed it
)

// store keeps takes and changes the sheet of one study.
type store struct {
	dir      string
	fixture  string          // what the sheet calls it, of several; empty for the only one
	fixtures []study.Fixture // of several
	now      func() time.Time
	saved    bool   // the sheet of before this session is kept
	sheet    []byte // as this session saw it last
	// crash is called after each step; tests end the program there.
	crash func(step string)
}

func (s *store) path(file string) string { return filepath.Join(s.dir, filepath.FromSlash(file)) }

func (s *store) step(name string) {
	if s.crash != nil {
		s.crash(name)
	}
}

// pending is where a take is whole before it gets its name.
func (s *store) pending(file string) string {
	p := s.path(file)
	return filepath.Join(filepath.Dir(p), takePrefix+filepath.Base(p))
}

// save writes a take and brings it to its place; what was there is kept under
// RetakesDir.
func (s *store) save(row capture.Seating, f wavfile.Format, channels [][]float64) error {
	pending := s.pending(row.File)
	if err := os.MkdirAll(filepath.Dir(pending), 0o777); err != nil {
		return err
	}
	if err := s.settle(row.File); err != nil { // of an earlier take
		return err
	}
	if err := wavfile.Write(pending, f, channels); err != nil {
		return err
	}
	s.step("written")
	return s.settle(row.File)
}

// room says why a take of so many bytes for a row could not be kept now.
func (s *store) room(file string, bytes int) error {
	pending := s.pending(file)
	err := os.MkdirAll(filepath.Dir(pending), 0o777)
	if err == nil {
		var f *disk.Pending
		if f, err = disk.Create(pending); err == nil {
			_, err = f.Write(make([]byte, bytes))
			err = errors.Join(err, f.Abort())
		}
	}
	if err != nil {
		return fmt.Errorf("nothing is played, for a take could not be kept: %w; free some space, or see that you may write there", err)
	}
	return nil
}

// settle brings a whole take to its place, if there is one.
func (s *store) settle(file string) error {
	pending := s.pending(file)
	if _, err := os.Lstat(pending); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err := s.retire(file); err != nil {
		return err
	}
	s.step("retired")
	if err := os.Rename(pending, s.path(file)); err != nil {
		return err
	}
	s.step("placed")
	return syncDir(filepath.Dir(pending))
}

// retire moves a recording out of the way, to a name that nothing has.
func (s *store) retire(file string) error {
	if _, err := os.Lstat(s.path(file)); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	dir := filepath.Join(s.dir, RetakesDir)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	base := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	for n := 1; ; n++ {
		to := filepath.Join(dir, fmt.Sprintf("%s-take-%d%s", base, n, filepath.Ext(file)))
		if _, err := os.Lstat(to); errors.Is(err, fs.ErrNotExist) {
			return os.Rename(s.path(file), to)
		} else if err != nil {
			return err
		}
	}
}

// recover brings takes to their places that a program left which was killed, and
// returns their files.
func (s *store) recover() (files []string, err error) {
	err = filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != s.dir && (d.Name() == "results" || d.Name() == RetakesDir) {
			return fs.SkipDir
		}
		name, ok := strings.CutPrefix(d.Name(), takePrefix)
		if !ok || !d.Type().IsRegular() {
			return nil
		}
		rel, err := filepath.Rel(s.dir, filepath.Join(filepath.Dir(path), name))
		if err != nil {
			return err
		}
		files = append(files, filepath.ToSlash(rel))
		return nil
	})
	for _, f := range files {
		err = errors.Join(err, s.settle(f))
	}
	return files, err
}

// changed reports whether somebody else has changed the sheet since it was asked last.
func (s *store) changed() (bool, error) {
	text, err := s.text()
	if err != nil || bytes.Equal(text, s.sheet) {
		return false, err
	}
	s.sheet = text
	return true, nil
}

func (s *store) text() ([]byte, error) {
	return disk.ReadFile(filepath.Join(s.dir, capture.SheetFile), 16<<20)
}

// edit changes the sheet and keeps, once a session, how it was before.
func (s *store) edit(change func(*study.SheetText) error) error {
	name := filepath.Join(s.dir, capture.SheetFile)
	text, err := s.text()
	if err != nil {
		return err
	}
	sheet, err := study.ParseSheetText(name, text, s.fixtures...)
	if err != nil {
		return err
	}
	if err := change(sheet); err != nil {
		return err
	}
	after, err := sheet.Bytes()
	if err != nil {
		return err
	}
	if !s.saved {
		backup := filepath.Join(s.dir, RetakesDir, backupDir, s.now().UTC().Format("20060102-150405.000")+"-"+capture.SheetFile)
		if err := os.MkdirAll(filepath.Dir(backup), 0o777); err != nil {
			return err
		}
		if err := disk.WriteFile(backup, text); err != nil {
			return err
		}
		s.saved = true
	}
	if err := disk.WriteFile(name, after); err != nil {
		return err
	}
	if bytes.Equal(text, s.sheet) { // else what somebody else changed is still to be seen
		s.sheet = after
	}
	return nil
}

// named is a row as the sheet has it, which calls a fixture of several by its name.
func (s *store) named(row capture.Seating) capture.Seating {
	if row.OnFixture() && s.fixture != "" {
		row.Subject = s.fixture
	}
	return row
}

// add puts a row into the sheet, behind that of a recording.
func (s *store) add(row capture.Seating, behind string) error {
	return s.edit(func(t *study.SheetText) error { return t.Add(s.named(row), behind) })
}

// drop takes a row out of the sheet and keeps what it said.
func (s *store) drop(file string) error {
	return s.edit(func(t *study.SheetText) error {
		cells, err := t.Drop(file)
		if err != nil {
			return err
		}
		dir := filepath.Join(s.dir, RetakesDir)
		if err := os.MkdirAll(dir, 0o777); err != nil {
			return err
		}
		f, err := os.OpenFile(filepath.Join(dir, droppedFile), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(f, "%s\t%s\n", s.now().UTC().Format(time.RFC3339), strings.Join(cells, "\t"))
		return errors.Join(err, f.Sync(), f.Close())
	})
}

func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	_ = f.Sync() // some systems cannot sync a folder, and rename is whole there all the same
	return nil
}

// another returns the next seating of a row: same subject, model, unit and point,
// placed normally, with the number after the highest and a file of its own, which is
// none of taken either.
func (s *store) another(r capture.Seating, rows []Row, taken []string) capture.Seating {
	out := r
	out.Survey, out.Read, out.Notes, out.Number, out.Row = nil, nil, "", 1, 0
	files := map[string]bool{}
	for _, f := range taken {
		files[strings.ToLower(f)] = true
	}
	for _, o := range rows {
		files[strings.ToLower(o.File)] = true
		if o.Subject == r.Subject && o.Model == r.Model && o.Unit == r.Unit && o.Loudspeaker == r.Loudspeaker {
			out.Number = max(out.Number, o.Number+1) // of surveys too: no number is used twice
		}
	}
	for ; ; out.Number++ {
		name := slices.DeleteFunc([]string{s.named(r).Subject, plan.Slug(r.Model), plan.Slug(r.Unit), fmt.Sprintf("%02d", out.Number)}, func(s string) bool { return s == "" })
		if r.OnFixture() {
			name = append(name, string(r.Point))
		}
		if out.File = "recordings/" + strings.Join(name, "-") + ".wav"; !files[strings.ToLower(out.File)] {
			return out
		}
	}
}
