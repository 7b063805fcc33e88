package bench

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/plan"
	"asworn/cmd/internal/resultdir"
	"asworn/report/judged"
	"asworn/report/table"
	"asworn/report/view"
)

// Options are what a desk is opened with.
type Options struct {
	System   audio.System  // nil where takes come from elsewhere
	Point    capture.Point // of those; empty for the one at which the plan has most of them
	Model    string        // one fixture seating of it after the other, outside the plan; empty for the plan
	Listener string        // one more, whose rows are added to the plan; empty for none
	Jobs     int
	Progress func(done, total int)
	Now      func() time.Time // nil for the clock
	Changed  func()           // told after every change of what Screen returns; must not wait; may be nil
}

// Desk is a session at the bench: it hands the operator's keys to the plan, has
// rows played, keeps what was recorded and has it judged. Its methods may be
// called from any goroutine.
type Desk struct {
	opt     Options
	address string
	store   store
	judge   *pipeline.Judge
	study   *capture.Study
	sound   *Sound
	ctx     context.Context

	mu        sync.Mutex
	session   Session
	screen    Screen // what happened; Screen adds the rest
	silence   context.CancelFunc
	silenced  time.Time // the last key of those that stopped the sound
	pace      plan.Pace
	intake    *intake  // nil with a sound card
	recovered []string // files that a killed session left without their name
	work      sync.WaitGroup
	quit      chan struct{} // closed by Close
	once      sync.Once
	release   func() // of the study, for other sessions
}

// Screen is what there is to see.
type Screen struct {
	Phase     Phase
	Title     string // the row that is shown, in words
	Recorded  bool   // it has a recording already
	Rejected  bool   // which was rejected
	Listener  bool   // somebody wears it
	One       bool   // one fixture seating after the other, outside the plan
	Left      int
	Minutes   float64
	Message   string // what happened, or what keeps the row from being played
	Peaks     []Peak // of the sound now
	Result    Result
	History   []Result
	GainDB    float64
	Now       string // the file that is being played or judged, and since when
	From      string // the folder that takes come from; empty with a sound card
	Offer     string // a file of it that waits for a decision
	More      int    // files that wait behind it
	Taps      bool   // it is still to be told which channel is which
	Safety    string // what is known of the level
	Cautioned bool
}

// Result is what came of one take.
type Result struct {
	File  string
	Title string
	Time  string // of day
	Keep  bool
	Word  string
	Tone  table.Tone
	Do    []string
	More  []string // findings and mends
	// ForwardMM and UpMM are where a fixture seating sits; Placed says whether they
	// are known.
	ForwardMM, UpMM float64
	Placed          bool
}

// Open opens the study at an address: a folder or, of a study with several
// fixtures, what one of them sees (study.At). Takes that an earlier session left
// whole but without their name are brought to their place first. The desk ends with
// ctx.
func Open(ctx context.Context, address string, opt Options) (*Desk, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	dir, fixture := study.Split(address)
	d := &Desk{opt: opt, address: address, ctx: ctx, quit: make(chan struct{}), store: store{dir: dir, now: opt.Now}}
	whole, err := study.LoadPartial(dir)
	if err != nil {
		return nil, err
	}
	if fixture != "" {
		d.store.fixtures = whole.Fixtures
	}
	if d.release, err = resultdir.Session(dir); err != nil {
		return nil, err
	}
	if err := d.open(); err != nil {
		d.release()
		return nil, err
	}
	return d, nil
}

// open reads the study, of which this is the only session.
func (d *Desk) open() error {
	opt := d.opt
	_, err := d.store.changed()
	if err != nil {
		return err
	}
	if d.recovered, err = d.store.recover(); err != nil {
		return err
	}
	if opt.Listener != "" {
		st, err := study.LoadPartial(d.address)
		if err == nil {
			err = d.store.addListener(opt.Listener, st)
		}
		if err != nil {
			return err
		}
	}
	if d.judge, err = pipeline.OpenJudge(d.ctx, d.address, pipeline.Options{Jobs: opt.Jobs, Progress: opt.Progress}); err != nil {
		return err
	}
	d.study = d.judge.Study()
	d.store.fixture = d.study.Fixture.Subject
	if d.sound, err = newSound(opt.System, d.store.dir, d.study, d.judge.Setup(), opt.Now); err != nil {
		return err
	}
	rows := planRows(d.study)
	for i := range rows {
		rows[i].Rejected = d.judge.Rejected(rows[i].File)
	}
	d.session = NewSession(rows)
	if opt.Model != "" {
		if err := holds(rows, opt.Model); err != nil {
			return err
		}
		one := capture.Seating{Model: opt.Model, Subject: capture.FixtureSubject, Point: opt.Point}
		if one.Point == "" {
			one.Point = usualPoint(rows, opt.Model)
		}
		d.session = Session{Rows: rows, At: len(rows) - 1, One: opt.Model}
		d.session = d.session.Added(Row{Seating: d.another(one)})
		d.screen.Message = d.noVerdict(opt.Model)
	}
	if len(d.recovered) > 0 {
		d.screen.Message = strings.TrimSpace(d.screen.Message + " kept from the session before: " + strings.Join(d.recovered, ", "))
	}
	return nil
}

// noVerdict says why seatings that are recorded for a verdict get none; empty where they do.
func (d *Desk) noVerdict(model string) string {
	if err := d.judge.NoVerdict(model); err != nil {
		return "no verdict: " + err.Error()
	}
	return ""
}

// refresh reads the plan again where somebody else has changed the sheet. It reports
// whether the row that was shown is still the one to record, and says why not; the caller
// holds the lock.
func (d *Desk) refresh() (same bool) {
	was, _ := d.session.Row()
	changed, err := d.store.changed()
	if err == nil && changed {
		var st *capture.Study
		if st, err = study.LoadPartial(d.address); err == nil {
			d.session = d.session.Replanned(planRows(st))
		} else {
			d.store.sheet = nil // it is read again the next time
		}
	}
	if err != nil {
		d.screen.Message = err.Error()
		return false
	}
	if row, _ := d.session.Row(); row.File != was.File || Words(row.Seating) != Words(was.Seating) {
		d.screen.Message = capture.SheetFile + " was changed meanwhile: the plan was read again"
		return false
	}
	return true
}

// holds says which models there are where one is not among them.
func holds(rows []Row, model string) error {
	var models []string
	for _, r := range rows {
		if r.Model == model {
			return nil
		}
		if name := fmt.Sprintf("%q", r.Model); r.Model != "" && !slices.Contains(models, name) {
			models = append(models, name)
		}
	}
	return fmt.Errorf("the study holds no model %q; it holds %s", model, strings.Join(models, ", "))
}

// usualPoint is where most ordinary seatings of a model on the fixture are recorded,
// the blocked entrance where both are as many.
func usualPoint(rows []Row, model string) capture.Point {
	n := map[capture.Point]int{}
	for _, r := range rows {
		if r.OrdinaryOnFixture() && r.Model == model {
			n[r.Point]++
		}
	}
	if n[capture.Drum] > n[capture.Blocked] {
		return capture.Drum
	}
	return capture.Blocked
}

// another is one more seating like a row's.
func (d *Desk) another(r capture.Seating) capture.Seating {
	return d.store.another(r, d.session.Rows, d.study.Elsewhere)
}

// Study returns the study as it was when the desk was opened.
func (d *Desk) Study() *capture.Study { return d.study }

// Sound is the sound card of the session.
func (d *Desk) Sound() *Sound { return d.sound }

// Close silences everything and waits until what was begun is kept.
func (d *Desk) Close() {
	d.mu.Lock()
	if d.silence != nil {
		d.silence()
	}
	d.mu.Unlock()
	d.once.Do(func() { close(d.quit) })
	d.work.Wait()
	d.release()
}

// Screen returns what there is to see now.
func (d *Desk) Screen() Screen {
	d.mu.Lock()
	defer d.mu.Unlock()
	s, safety := d.screen, d.sound.know()
	row, ok := d.session.Row()
	s.Phase, s.Title, s.Recorded = d.session.Phase, d.session.Title(), row.Recorded
	s.Rejected = row.Rejected
	if ok && row.OnFixture() && d.store.fixture != "" {
		s.Title = strings.Replace(s.Title, "the fixture", "fixture "+d.store.fixture, 1)
	}
	s.Listener, s.One = ok && !row.OnFixture(), d.session.One != ""
	left := d.session.left()
	s.Left, s.Minutes = len(left), d.pace.Minutes(left, d.sound.takeMinutes())
	s.GainDB, s.Cautioned = safety.GainDB, safety.Cautions
	s.Peaks = d.sound.meters()
	s.History = append([]Result(nil), s.History...)
	if d.intake != nil {
		s.From = d.intake.folder.Dir
		s.Offer, s.More = d.intake.offer()
		if s.Taps = len(d.intake.taps) > 0; s.Taps {
			s.Title = fmt.Sprintf("Which is which? Touch the %s microphone twice, lightly, while the recorder records.", strings.ToUpper(d.intake.taps[0].String()))
			s.Recorded, s.Rejected = false, false
		}
	}
	if ok {
		s.Safety = safety.words(row.Model)
	}
	return s
}

func (d *Desk) changed() {
	if d.opt.Changed != nil {
		d.opt.Changed()
	}
}

// update changes the desk and tells who looks.
func (d *Desk) update(f func()) {
	d.mu.Lock()
	f()
	d.mu.Unlock()
	d.changed()
}

// nervous is how long after a key that stopped the sound no other does anything: who
// stops it in alarm strikes more than once, and the second would play again. Common
// practice, no source.
const nervous = 700 * time.Millisecond

// Press does what the operator asks for. It does not wait for sound.
func (d *Desk) Press(k Key) {
	d.update(func() {
		now := d.opt.Now()
		if d.session.Phase != Playing && now.Sub(d.silenced) < nervous {
			d.silenced = now
			return
		}
		if d.intake != nil && d.intake.press(k) {
			return
		}
		if k == Confirm && d.session.Phase == Caution {
			d.sound.confirm()
		}
		if k == Enter && d.session.Phase == Ready && !d.refresh() {
			return
		}
		safety := d.sound.know()
		next, act := d.session.Press(k, safety.Cautions)
		row, _ := d.session.Row()
		switch act {
		case Play:
			if d.opt.System == nil {
				return
			}
			if err := safety.Refuse(row.Seating); err != nil {
				d.screen.Message = err.Error()
				return
			}
			d.session, d.screen.Message, d.screen.Now = next, "", d.stamp(row.File)
			d.begin(func(ctx context.Context) { d.play(ctx, row) })
			return
		case Silence:
			if d.silence != nil {
				d.silence()
			}
			d.silenced = now
			return
		case AddRow:
			one := Row{Seating: d.another(row.Seating), Planned: next.One == ""}
			if one.Planned {
				if err := d.store.add(one.Seating, row.File); err != nil {
					d.screen.Message = err.Error()
					return
				}
			}
			d.session = next.Added(one)
		case DropRow:
			if row.Planned {
				if err := d.store.drop(row.File); err != nil {
					d.screen.Message = err.Error()
					return
				}
			}
			d.session = next.Dropped()
		default:
			if next.Phase != d.session.Phase || next.At != d.session.At {
				d.screen.Message = ""
			}
			d.session = next
		}
	})
}

// begin runs something that makes a sound until it ends or is silenced.
func (d *Desk) begin(f func(ctx context.Context)) {
	ctx, cancel := context.WithCancel(d.ctx)
	d.silence = cancel
	d.work.Go(func() { defer cancel(); f(ctx) })
}

// play plays and records a row.
func (d *Desk) play(ctx context.Context, row Row) {
	if err := d.store.room(row.File, d.sound.takeBytes()); err != nil { // before anybody hears it
		d.fail(err)
		return
	}
	ready := make(chan error, 1)
	go func() { ready <- d.judge.Prepare(row.Model) }() // while it sounds
	got, gainDB, err := d.sound.take(ctx)
	if failed := <-ready; err == nil {
		err = failed
	}
	switch {
	case err != nil:
		d.fail(err)
	case got.Stopped:
		d.fail(errors.New("stopped; nothing was kept of this take"))
	default:
		d.sound.arrival.keep(got)
		d.keep(row, take{against: d.sound.lost(got), played: got.Samples, gainDB: gainDB}, func(s capture.Seating) error {
			channels := d.sound.channels(got.Samples)
			return d.store.save(s, wavfile.Format{RateHz: got.RateHz, Channels: len(channels), Bits: 32, Float: true}, channels)
		})
	}
}

// take is what is known of a take beside its recording.
type take struct {
	against []string    // what speaks against it already
	played  [][]float64 // what the inputs heard while this session played, at gainDB; nil where it did not
	gainDB  float64
}

func (d *Desk) stamp(file string) string {
	return file + ", " + d.opt.Now().Format("15:04:05")
}

// fail goes back to the row and says why.
func (d *Desk) fail(err error) {
	d.update(func() {
		d.screen.Message, d.screen.Now = err.Error(), ""
		d.session = d.session.Heard(false)
	})
}

// keep stores a take, puts its row into the sheet and has it judged.
func (d *Desk) keep(row Row, t take, save func(capture.Seating) error) {
	err := func() error {
		if !row.Planned {
			d.mu.Lock() // notes and readings change the sheet under it
			err := d.store.add(row.Seating, d.session.before(row.File))
			d.mu.Unlock()
			if err != nil {
				return err
			}
		}
		return save(row.Seating)
	}()
	if err != nil {
		d.fail(fmt.Errorf("this take is not kept: %w; mend that and record the row again", err))
		return
	}
	d.update(func() {
		d.session = d.session.Heard(true)
		d.screen.Now = d.stamp(row.File)
		d.pace.Took(row.Seating, d.sound.takeMinutes(), d.opt.Now())
	})
	d.assess(row.Seating, t)
}

// assess judges the recording of a row and shows what came of it.
func (d *Desk) assess(row capture.Seating, t take) {
	j, err := d.judge.Judge(d.ctx, row)
	r := Result{File: row.File, Title: Words(row), Time: d.opt.Now().Format("15:04:05"), More: append([]string(nil), t.against...)}
	var level string
	if err != nil {
		r.Word, r.Tone, r.Do = "not judged", table.Bad, []string{err.Error()}
	} else {
		if t.played != nil && len(t.against) == 0 && has(j, finding.Truncated) { // samples that were lost tell no delay
			r.More = append(r.More, d.sound.arrival.late(t.played, d.sound.chosen().Inputs))
		}
		r.describe(j, len(r.More) > 0)
		if no := d.noVerdict(row.Model); d.opt.Model != "" && no != "" && r.Keep {
			r.More = append(r.More, no)
		}
		if t.played != nil {
			if level, err = d.sound.learn(row, j.Recording, t.gainDB); err != nil {
				level = err.Error()
			}
		}
	}
	d.update(func() {
		d.screen.Now, d.screen.Result = "", r
		d.screen.History = append(d.screen.History, r)
		if level != "" {
			d.screen.Message = level
		}
		d.session = d.session.Judge(r.Keep)
	})
}

// has reports whether something was found in a recording.
func has(j pipeline.Judgement, code finding.Code) bool {
	return slices.ContainsFunc(j.Recording.Quality.Findings, func(f capture.Finding) bool { return f.Code == code })
}

// warned reports whether a recording raised a warning.
func warned(j pipeline.Judgement) bool {
	return slices.ContainsFunc(j.Recording.Quality.Findings, func(f capture.Finding) bool { return f.Severity == capture.Warning })
}

// describe puts a judgement into the words of a run.
func (r *Result) describe(j pipeline.Judgement, doubt bool) {
	s := view.New(j.Results).State(r.File)
	r.Word, r.Tone, r.Do = s.Word, s.Tone, s.Do
	for _, line := range s.Detail { // what mends it stands above
		r.More = append(r.More, strings.TrimSuffix(line, ". "+strings.Join(s.Do, "")))
	}
	for _, m := range j.Results.Analysis.Models {
		for _, v := range m.Verdicts {
			if s.Word == judged.Undetermined.String() && len(v.Settle) > 0 {
				r.Do = append([]string{"not decidable yet; what would help most:"}, r.Do...)
			}
			r.ForwardMM, r.UpMM, r.Placed = position(v)
		}
	}
	if s.Seal != "" {
		r.Do = append(r.Do, s.Seal)
	}
	r.Keep = j.Usable && !doubt
	if r.Tone == table.Good && warned(j) { // a take that may be kept is not yet a good one
		r.Word, r.Tone = r.Word+", with warnings", table.Act
	}
	if doubt {
		r.Word, r.Tone = "rejected", table.Bad
		r.Do, r.More = []string{r.More[0]}, r.More[1:]
	}
}

// CheckLevel plays single sweeps on the fixture, at rising gains, and learns
// how loud the model of the row that is shown is there. The caller has had it
// confirmed that the headphone is on the fixture and nobody wears it.
func (d *Desk) CheckLevel() {
	d.update(func() {
		row, ok := d.session.Row()
		if !ok || d.opt.System == nil || d.session.Phase == Playing || d.session.Phase == Judging {
			return
		}
		d.session.Phase, d.screen.Now, d.screen.Message = Playing, "level check", "level check: "+row.Model
		d.begin(func(ctx context.Context) {
			message := d.sound.checkLevel(ctx, row.Seating, func(words string) { d.update(func() { d.screen.Message = words }) })
			d.update(func() { d.session, d.screen.Message, d.screen.Now = d.session.Heard(false), message, "" })
		})
	})
}

// ReadLevel takes the level that the operator read at the fixture's ear with an
// instrument while the level check played, dB(A) SPL.
func (d *Desk) ReadLevel(db float64) {
	d.update(func() {
		if row, ok := d.session.Row(); ok {
			d.screen.Message = d.sound.readLevel(row.Model, db)
		}
	})
}

// SetGain changes the gain of playback by a step in dB.
func (d *Desk) SetGain(step float64) {
	d.update(func() {
		if d.session.Phase == Playing {
			return
		}
		gain, err := d.sound.turn(step)
		if err != nil {
			d.screen.Message = err.Error()
			return
		}
		d.screen.Message = finding.Text("gain %.0f dB", gain)
		if d.study.Channels.Loopback == 0 && d.session.Left() < len(d.session.Rows) {
			d.screen.Message += "; rows that were recorded before had another gain, and without a loopback their levels cannot be compared with these"
		}
	})
}

// Note adds a note to the row that is shown.
func (d *Desk) Note(text string) {
	text = strings.Join(strings.Fields(text), " ")
	if text == "" {
		return
	}
	d.onRow(func(r *Row) error {
		if r.Planned {
			if err := d.store.edit(func(t *study.SheetText) error { return t.Note(r.File, text) }); err != nil {
				return fmt.Errorf("%q is not noted: %w", text, err)
			}
		}
		r.Notes = strings.TrimPrefix(r.Notes+"; "+text, "; ")
		d.screen.Message = "noted: " + text
		return nil
	})
}

// onRow changes the row that is shown and says what went wrong.
func (d *Desk) onRow(f func(*Row) error) {
	d.update(func() {
		row, ok := d.session.Row()
		if !ok {
			return
		}
		if err := f(&row); err != nil {
			d.screen.Message = err.Error()
			return
		}
		rows := append([]Row(nil), d.session.Rows...)
		rows[d.session.At] = row
		d.session.Rows = rows
	})
}

// Read keeps where the headphone of the row that is shown was seen to sit, and
// has its recording judged anew with it.
func (d *Desk) Read(r capture.Reading) {
	var again *capture.Seating
	d.onRow(func(row *Row) error {
		if row.Model == "" {
			return errors.New("no headphone is worn in this row: there is nothing to read")
		}
		if row.Planned {
			if err := d.store.read(row.Seating, r); err != nil {
				return fmt.Errorf("%g mm forward, %g mm up is not kept: %w", r.ForwardMM, r.UpMM, err)
			}
		}
		row.Read = &r
		d.screen.Message = finding.Text("read: %g mm forward, %g mm up", r.ForwardMM, r.UpMM)
		if d.session.Phase == Judged {
			s := row.Seating
			again = &s
			d.session.Phase = Judging
		}
		return nil
	})
	if again != nil {
		d.work.Go(func() { d.assess(*again, take{}) })
	}
}
