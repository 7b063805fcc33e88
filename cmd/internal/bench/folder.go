package bench

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"asworn/capture"
	"asworn/capture/disk"
)

// importsFile, under RetakesDir, says which file of another recorder became
// which row: one line each, and a later line about a file takes the place of an
// earlier one.
const importsFile = "imports.tsv"

// folder takes the files that another recorder drops into a folder, in order, as
// the next rows.
type folder struct {
	dir     string
	done    map[string]string // by hash: the row's file, or "" when it was left out
	seen    map[string]glance // names that were looked at, as they were
	waiting []string          // whole files that are not taken yet, oldest first
	hold    bool              // the next one waits for a decision
	busy    bool
	undo    []imported
}

// glance is what a look sees of a file.
type glance struct {
	size int64
	time int64
}

type imported struct {
	name, hash string
	at         int // row
}

// Watch takes takes from a folder until the desk's context ends, looking every
// interval. Files that are there already wait for a decision.
func (d *Desk) Watch(dir string, interval time.Duration) error {
	info, err := os.Stat(dir)
	if err == nil && !info.IsDir() {
		err = fmt.Errorf("%s is a file; name the folder that the recorder writes to", dir)
	}
	if err != nil {
		return err
	}
	study, err1 := filepath.Abs(d.store.dir)
	from, err2 := filepath.Abs(dir)
	if err := errors.Join(err1, err2); err != nil {
		return err
	}
	if rel, err := filepath.Rel(study, from); err == nil && filepath.IsLocal(rel) {
		return fmt.Errorf("%s is in the study's folder: have the recorder write elsewhere, the files are copied from there", dir)
	}
	f := &folder{dir: dir, done: map[string]string{}, seen: map[string]glance{}, hold: true}
	if err := f.load(d.store.dir); err != nil {
		return err
	}
	d.update(func() { d.folder = f })
	d.work.Go(func() {
		tick := time.NewTicker(interval)
		defer tick.Stop()
		for first := true; ; first = false {
			d.look(first)
			select {
			case <-d.ctx.Done():
				return
			case <-d.quit:
				return
			case <-tick.C:
			}
		}
	})
	return nil
}

// load reads which files were taken before.
func (f *folder) load(study string) error {
	b, err := disk.ReadFile(filepath.Join(study, RetakesDir, importsFile), 64<<20)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	for s := bufio.NewScanner(strings.NewReader(string(b))); s.Scan(); {
		cells := strings.Split(s.Text(), "\t")
		if len(cells) != 4 {
			continue // the end of a program that was killed
		}
		if cells[3] == "?" {
			delete(f.done, cells[1])
			continue
		}
		f.done[cells[1]] = cells[3]
	}
	return err
}

// record appends to the list of files that were taken; row "" leaves a file out
// and "?" forgets it.
func (d *Desk) record(name, hash, row string) error {
	dir := filepath.Join(d.store.dir, RetakesDir)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	out, err := os.OpenFile(filepath.Join(dir, importsFile), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o666)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "%s\t%s\t%s\t%s\n", d.opt.Now().UTC().Format(time.RFC3339), hash, strings.Join(strings.Fields(name), " "), row)
	return errors.Join(err, out.Sync(), out.Close())
}

// look finds files that are new and whole: two looks agree on size and time.
func (d *Desk) look(first bool) {
	type found struct {
		name string
		glance
	}
	var now []found
	entries, err := os.ReadDir(d.folder.dir)
	if err != nil {
		d.update(func() { d.screen.Message = err.Error() })
		return
	}
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || !strings.EqualFold(filepath.Ext(e.Name()), ".wav") || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		now = append(now, found{e.Name(), glance{info.Size(), info.ModTime().UnixNano()}})
	}
	slices.SortStableFunc(now, func(a, b found) int { // in the order in which they were finished
		switch {
		case a.time != b.time && a.time < b.time:
			return -1
		case a.time != b.time:
			return 1
		}
		return strings.Compare(a.name, b.name)
	})
	for _, f := range now {
		before, known := d.folder.seen[f.name]
		if !known || before != f.glance {
			d.folder.seen[f.name] = f.glance
			if !first { // what was there at the start is whole
				continue
			}
		} else if d.listed(f.name) {
			continue
		}
		if f.size == 0 {
			continue
		}
		hash, err := hashOf(filepath.Join(d.folder.dir, f.name))
		if err != nil {
			d.update(func() { d.screen.Message = err.Error() })
			continue
		}
		d.update(func() {
			d.folder.seen[f.name+"\x00"] = f.glance // it has been listed
			if _, taken := d.folder.done[hash]; !taken {
				d.folder.waiting = append(d.folder.waiting, f.name)
			}
		})
	}
	d.mu.Lock()
	if first && len(d.folder.waiting) == 0 {
		d.folder.hold = false
	}
	d.mu.Unlock()
	d.pull()
}

// listed reports whether a file was put on the list as it is now.
func (d *Desk) listed(name string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.folder.seen[name+"\x00"] == d.folder.seen[name]
}

// offer is the file that waits for a decision.
func (f *folder) offer() string {
	if f.hold && len(f.waiting) > 0 {
		return f.waiting[0]
	}
	return ""
}

// press handles the keys that mean something else with a folder: Enter takes
// the file that waits, Drop leaves it out, Again undoes the last one.
func (f *folder) press(d *Desk, k Key) bool {
	switch {
	case f.busy:
		return true
	case k == Enter && d.session.Phase == Judged:
		d.session = d.session.next()
		return true
	case k == Enter && f.hold && len(f.waiting) > 0:
		if row, ok := d.session.Row(); ok && !row.OnFixture() && !d.safety.Cautions {
			d.session.Phase = Caution
			return true
		}
		f.hold = false
		d.work.Go(d.pull)
		return true
	case k == Drop && f.hold && len(f.waiting) > 0:
		name := f.waiting[0]
		hash, err := hashOf(filepath.Join(f.dir, name))
		if err == nil {
			err = d.record(name, hash, "")
		}
		if err != nil {
			d.screen.Message = err.Error()
			return true
		}
		f.done[hash], f.waiting = "", f.waiting[1:]
		d.screen.Message = name + " is left out; it stays where it is"
		return true
	case k == Again:
		d.undoImport()
		return true
	case k == Enter:
		return true
	}
	return false
}

// undoImport makes the row of the last file pending again, and offers the file.
// The copy is kept among the retakes.
func (d *Desk) undoImport() {
	f := d.folder
	if len(f.undo) == 0 {
		d.screen.Message = "nothing was taken in this session"
		return
	}
	last := f.undo[len(f.undo)-1]
	row := d.session.Rows[last.at]
	err := d.record(last.name, last.hash, "?")
	if err == nil {
		err = d.store.retire(row.File)
	}
	if err != nil {
		d.screen.Message = err.Error()
		return
	}
	delete(f.done, last.hash)
	f.undo, f.hold = f.undo[:len(f.undo)-1], true
	f.waiting = slices.Insert(f.waiting, 0, last.name)
	rows := slices.Clone(d.session.Rows)
	rows[last.at].Recorded = false
	d.session.Rows, d.session.At, d.session.Phase = rows, last.at, Ready
	d.screen.Message = fmt.Sprintf("%s is no longer %s: Enter takes it for the row that is shown, x leaves it out", last.name, row.File)
}

// pull takes the next file for the row that is shown, if nothing holds it.
func (d *Desk) pull() {
	for {
		d.mu.Lock()
		f := d.folder
		if f.hold || f.busy || len(f.waiting) == 0 || d.session.Phase == Finished {
			d.mu.Unlock()
			return
		}
		if d.session.Phase == Judged { // the next file says that the operator has gone on
			if d.session.Keep {
				d.session = d.session.next()
			} else {
				d.session.Phase = Ready
			}
		}
		row, ok := d.session.Row()
		if !ok {
			d.mu.Unlock()
			return
		}
		if !row.OnFixture() && !d.safety.Cautions {
			d.session.Phase, f.hold = Caution, true
			d.mu.Unlock()
			d.changed()
			return
		}
		name, at := f.waiting[0], d.session.At
		f.busy, f.waiting = true, f.waiting[1:]
		d.session.Phase = Playing
		d.mu.Unlock()
		d.take(name, row, at)
		d.mu.Lock()
		f.busy = false
		d.mu.Unlock()
		d.changed()
	}
}

// take copies a file, checks the copy and has it judged.
func (d *Desk) take(name string, row Row, at int) {
	var hash string
	d.keep(row, nil, func(s capture.Seating) error {
		var err error
		if hash, err = d.store.copy(filepath.Join(d.folder.dir, name), s.File); err != nil {
			return err
		}
		return d.record(name, hash, s.File)
	})
	d.update(func() {
		if hash == "" { // it could not be copied: keep says why
			d.folder.waiting, d.folder.hold = slices.Insert(d.folder.waiting, 0, name), true
			return
		}
		d.folder.done[hash] = row.File
		d.folder.undo = append(d.folder.undo, imported{name, hash, at})
		d.screen.Message = name + " is " + row.File
	})
}

// copy brings a copy of a file to the place of a row's recording, once its bytes
// are known to be those of the original, which is only read.
func (s *store) copy(from, file string) (hash string, err error) {
	in, err := disk.Open(from)
	if err != nil {
		return "", err
	}
	defer in.Close()
	pending := s.pending(file)
	if err := os.MkdirAll(filepath.Dir(pending), 0o777); err != nil {
		return "", err
	}
	if err := s.settle(file); err != nil {
		return "", err
	}
	out, err := disk.Create(pending)
	if err != nil {
		return "", err
	}
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(out, sum), in); err != nil {
		return "", errors.Join(err, out.Abort())
	}
	if err := out.Commit(); err != nil {
		return "", err
	}
	hash = hex.EncodeToString(sum.Sum(nil))
	now, err := hashOf(from)
	if err == nil && now != hash {
		err = fmt.Errorf("%s changed while it was copied: wait until the recorder has finished it", from)
	}
	if err == nil {
		if now, err = hashOf(pending); err == nil && now != hash {
			err = fmt.Errorf("the copy of %s differs from it: the disk is at fault", from)
		}
	}
	if err != nil {
		return "", errors.Join(err, os.Remove(pending))
	}
	s.step("written")
	return hash, s.settle(file)
}

func hashOf(path string) (string, error) {
	in, err := disk.Open(path)
	if err != nil {
		return "", err
	}
	defer in.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, in); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}
