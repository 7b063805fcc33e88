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
	"asworn/capture/wavfile"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/hearing"
	"asworn/cmd/internal/inbox"
)

// importsFile, under RetakesDir, says which file of another recorder became
// which row: one line each, and a later line about a file takes the place of an
// earlier one.
const importsFile = "imports.tsv"

// intake takes the files that another recorder drops into a folder, in order, as
// the next rows of a desk. What it knows is under the desk's lock, but for the folder,
// which only look uses.
type intake struct {
	desk    *Desk
	folder  *inbox.Folder
	done    map[string]string // by hash: the row's file, or "" when it was left out
	again   map[string]string // by name: the row's file of one that had not been finished when it was taken
	waiting []string          // whole files that are not taken yet, oldest first
	hold    bool              // the next one waits for a decision
	busy    bool
	undo    []imported
	taps    []capture.Ear // microphones that are still to be touched, while the recorder records
}

type imported struct {
	name, hash string
	file       string // of the row
}

// Watch takes takes from a folder until the desk's context ends, looking every
// interval. Files that are there already wait for a decision.
func (d *Desk) Watch(dir string, interval time.Duration) error {
	info, err := os.Stat(dir)
	if err == nil && !info.IsDir() {
		err = fmt.Errorf("%s is a file; name the folder that the recorder writes to", dir)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no folder %s: plug the recorder or its card in, and name the folder that it writes to", dir)
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
	in := &intake{desk: d, folder: inbox.Open(dir, d.opt.Now), done: map[string]string{}, again: map[string]string{}, hold: true}
	if err := in.load(); err != nil {
		return err
	}
	// Unless it was done: the microphones of which nobody has made sure yet on which channel
	// the recorder puts them; none where the study has but one.
	if c := d.sound.study.Channels; d.sound.chosen().Recorder == "" && c.Left > 0 && c.Right > 0 {
		in.taps = capture.Ears[:]
	}
	d.update(func() { d.intake = in })
	d.work.Go(func() {
		tick := time.NewTicker(interval)
		defer tick.Stop()
		for first := true; ; first = false {
			in.look(first)
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

// load reads which files were taken before, and lists what a session took that
// was killed before it could.
func (in *intake) load() error {
	b, err := disk.ReadFile(filepath.Join(in.desk.store.dir, RetakesDir, importsFile), 64<<20)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for s := bufio.NewScanner(strings.NewReader(string(b))); s.Scan(); {
		cells := strings.Split(s.Text(), "\t")
		if len(cells) != 4 {
			continue // the end of a program that was killed
		}
		if cells[3] == "?" {
			delete(in.done, cells[1])
			continue
		}
		in.done[cells[1]] = cells[3]
	}
	for _, file := range in.desk.recovered {
		hash, err := hashOf(in.desk.store.path(file))
		if err != nil {
			return err
		}
		if in.done[hash] != file {
			in.done[hash] = file
			if err := in.list("", hash, file); err != nil {
				return err
			}
		}
	}
	return nil
}

// list appends to the list of files that were taken; row "" leaves a file out
// and "?" forgets it.
func (in *intake) list(name, hash, row string) error {
	d := in.desk
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

// look takes down the files that are new and whole, and takes the next one.
func (in *intake) look(first bool) {
	d := in.desk
	say := func(words string) { d.update(func() { d.screen.Message = words }) }
	for name := range in.folder.Whole(first, say) {
		hash, err := hashOf(in.folder.Path(name))
		if err != nil {
			say(err.Error())
			continue
		}
		in.folder.Done(name)
		row, grew := in.grown(name)
		d.update(func() {
			file, taken := in.done[hash]
			switch {
			case slices.Contains(in.waiting, name):
			case taken && !first:
				what := "a file that was left out"
				if file != "" {
					what = "the file that became " + file
				}
				d.screen.Message = fmt.Sprintf("%s holds the same as %s; it is left where it is", name, what)
			case taken:
			case grew:
				in.again[name] = row
				in.waiting = slices.Insert(in.waiting, 0, name)
			default:
				in.waiting = append(in.waiting, name)
			}
		})
	}
	d.mu.Lock()
	if first && len(in.waiting) == 0 {
		in.hold = false
	}
	d.mu.Unlock()
	in.pull()
}

// grown returns the row that a file became, in this session, which has gone on since: it
// holds what was taken of it, but for the header, and more.
func (in *intake) grown(name string) (file string, ok bool) {
	in.desk.mu.Lock()
	for _, u := range in.undo {
		if u.name == name {
			file = u.file
		}
	}
	in.desk.mu.Unlock()
	return file, file != "" && inbox.Extends(in.desk.store.path(file), in.folder.Path(name))
}

// offer is the file that waits for a decision, and how many come after it.
func (in *intake) offer() (name string, more int) {
	if in.hold && len(in.waiting) > 0 {
		return in.waiting[0], len(in.waiting) - 1
	}
	return "", 0
}

// press handles the keys that mean something else with a folder: Enter takes
// the file that waits, Drop leaves it out, Again undoes the last one.
func (in *intake) press(k Key) bool {
	d := in.desk
	switch {
	case in.busy:
		return true
	case len(in.taps) > 0 && k == Skip:
		in.taps = nil
		d.screen.Message = "left and right have not been told in this study: a swapped pair of microphones would not be noticed"
		return true
	case len(in.taps) > 0 && k == Enter:
		if in.hold && len(in.waiting) > 0 {
			in.hold = false
			d.work.Go(in.pull)
		}
		return true
	case len(in.taps) > 0 && (k != Drop || !in.hold || len(in.waiting) == 0):
		return true
	case k == Enter && d.session.Phase == Judged:
		if d.session.Keep {
			d.session = d.session.next()
		} else {
			d.session.Phase = Ready // the next file is one more take of this row
		}
		return true
	case k == Enter && in.hold && len(in.waiting) > 0:
		if row, ok := d.session.Row(); ok && !row.OnFixture() && !d.sound.know().Cautions {
			d.session.Phase = Caution
			return true
		}
		in.hold = false
		d.work.Go(in.pull)
		return true
	case k == Drop && in.hold && len(in.waiting) > 0:
		name := in.waiting[0]
		hash, err := hashOf(in.folder.Path(name))
		if err == nil {
			err = in.list(name, hash, "")
		}
		if err != nil {
			d.screen.Message = err.Error()
			return true
		}
		in.done[hash], in.waiting = "", in.waiting[1:]
		d.screen.Message = name + " is left out; it stays where it is"
		return true
	case k == Again:
		in.undoLast()
		return true
	case k == Enter:
		return true
	}
	return false
}

// undoLast makes the row of the last file pending again, and offers the file.
// The copy is kept among the retakes.
func (in *intake) undoLast() {
	d := in.desk
	if len(in.undo) == 0 {
		d.screen.Message = "nothing was taken in this session"
		return
	}
	last := in.undo[len(in.undo)-1]
	at := d.session.index(last.file)
	if at < 0 {
		d.screen.Message = fmt.Sprintf("%s, which %s became, is no row of the sheet any more", last.file, last.name)
		return
	}
	row := d.session.Rows[at]
	err := in.list(last.name, last.hash, "?")
	if err == nil {
		err = d.store.retire(row.File)
	}
	if err != nil {
		d.screen.Message = err.Error()
		return
	}
	delete(in.done, last.hash)
	in.undo, in.hold = in.undo[:len(in.undo)-1], true
	in.waiting = slices.Insert(in.waiting, 0, last.name)
	rows := slices.Clone(d.session.Rows)
	rows[at].Recorded, rows[at].Rejected = false, false
	d.session.Rows, d.session.At, d.session.Phase = rows, at, Ready
	d.screen.Message = fmt.Sprintf("%s is no longer %s: Enter takes it for the row that is shown, x leaves it out", last.name, row.File)
}

// pull takes the next file for the row that is shown, if nothing holds it.
func (in *intake) pull() {
	d := in.desk
	for {
		d.mu.Lock()
		if in.hold || in.busy || len(in.waiting) == 0 || d.session.Phase == Finished {
			d.mu.Unlock()
			return
		}
		if len(in.taps) > 0 {
			name, side := in.waiting[0], in.taps[0]
			in.busy, in.waiting = true, in.waiting[1:]
			d.mu.Unlock()
			in.tap(name, side)
			continue
		}
		if at := d.session.index(in.again[in.waiting[0]]); at >= 0 {
			d.session.At, d.session.Phase = at, Ready
		} else if d.session.Phase == Judged { // the next file says that the operator has gone on
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
		if !row.OnFixture() && !d.sound.know().Cautions {
			d.session.Phase, in.hold = Caution, true
			d.mu.Unlock()
			d.changed()
			return
		}
		if !d.refresh() {
			in.hold = true
			d.mu.Unlock()
			d.changed()
			return
		}
		name := in.waiting[0]
		in.busy, in.waiting = true, in.waiting[1:]
		d.session.Phase = Playing
		d.mu.Unlock()
		in.take(name, row)
		d.mu.Lock()
		in.busy = false
		d.mu.Unlock()
		d.changed()
	}
}

// tap looks in a file for the touch of a microphone.
func (in *intake) tap(name string, side capture.Ear) {
	d := in.desk
	path := in.folder.Path(name)
	channel, err := tappedIn(path)
	var hash string
	if err == nil {
		hash, err = hashOf(path)
	}
	if err == nil {
		err = in.list(name, hash, "")
	}
	d.update(func() {
		in.busy = false
		if err != nil { // it may be a take
			in.waiting, in.hold = slices.Insert(in.waiting, 0, name), true
			d.screen.Message = fmt.Sprintf("%s: %v. x leaves the file out, s goes on without", name, err)
			return
		}
		in.done[hash] = ""
		if want := d.sound.study.Channels.Of(side); channel != want {
			d.screen.Message = fmt.Sprintf("the %s microphone is on channel %d of the recorder's files, study.toml says %d: swap the plugs and touch it again, or correct [channels] there and begin again", side, channel, want)
			return
		}
		d.screen.Message = fmt.Sprintf("the %s microphone is on channel %d, as study.toml says", side, channel)
		if in.taps = in.taps[1:]; len(in.taps) == 0 {
			err := d.sound.change(func(set *Settings) error { set.Recorder = d.opt.Now().Format("2006-01-02"); return nil })
			if err != nil {
				d.screen.Message = err.Error()
			}
		}
	})
}

// tappedIn returns the channel of a file whose microphone was touched.
func tappedIn(path string) (channel int, err error) {
	f, x, err := wavfile.ReadAll(path)
	if err != nil {
		return 0, err
	}
	return hearing.Tapped(x, f.RateHz)
}

// take copies a file, checks the copy and has it judged.
func (in *intake) take(name string, row Row) {
	d := in.desk
	var hash string
	d.keep(row, take{}, func(s capture.Seating) error {
		got, err := d.store.copy(in.folder.Path(name), s.File, func(hash string) error { return in.list(name, hash, s.File) })
		if err == nil {
			hash = got
		}
		return err
	})
	d.update(func() {
		if hash == "" { // it could not be copied: keep says why
			in.waiting, in.hold = slices.Insert(in.waiting, 0, name), true
			return
		}
		in.done[hash] = row.File
		in.undo = append(in.undo, imported{name, hash, row.File})
		d.screen.Message = name + " is " + row.File
		if in.again[name] != "" {
			delete(in.again, name)
			d.screen.Message = fmt.Sprintf("%s went on after it had been taken: all of it is %s now", name, row.File)
		}
	})
}

// copy brings a copy of a file to the place of a row's recording, once its bytes
// are known to be those of the original, which is only read. list keeps what
// became of the original, as soon as the copy is whole.
func (s *store) copy(from, file string, list func(hash string) error) (hash string, err error) {
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
	if err := list(hash); err != nil {
		return "", err // the copy is found by the next session
	}
	s.step("listed")
	return hash, s.settle(file)
}

func hashOf(path string) (string, error) {
	key, err := cache.FileKey(path)
	if err != nil {
		return "", err
	}
	return key.String(), nil
}
