package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/pipeline"
	"asworn/report/table"
	"asworn/report/view"
)

// Options are what a desk is opened with.
type Options struct {
	System   audio.System // nil where takes come from elsewhere
	Model    string       // one fixture seating of it after the other, outside the plan; empty for the plan
	Jobs     int
	Progress func(done, total int)
	Now      func() time.Time // nil for the clock
	Changed  func()           // told after every change of what Screen returns; must not wait; may be nil
}

// Desk joins the session with sound, disk and judgement. Its methods may be
// called from any goroutine.
type Desk struct {
	opt    Options
	store  store
	judge  *pipeline.Judge
	study  *capture.Study
	signal []float64 // the whole excitation
	one    []float64 // one repeat of it
	ctx    context.Context

	mu       sync.Mutex
	settings Settings
	safety   Safety
	session  Session
	screen   Screen // what the parts below say; the session is added when it is asked for
	silence  context.CancelFunc
	began    time.Time
	spans    []float64 // seconds from one take to the next
	folder   *folder
	work     sync.WaitGroup
	quit     chan struct{} // closed by Close
	once     sync.Once
}

// Screen is what there is to see.
type Screen struct {
	Phase     Phase
	Title     string // the row that is shown, in words
	Recorded  bool   // it has a recording already
	Listener  bool   // somebody wears it
	Left      int
	Minutes   float64
	Message   string    // what happened, or what keeps the row from being played
	Peaks     []float64 // of the inputs of the study: left, right, loopback; re full scale, of the sound now
	Result    Result
	History   []Result
	GainDB    float64
	Now       string // the file that is being played or judged, and since when
	From      string // the folder that takes come from; empty with a sound card
	Offer     string // a file of it that waits for a decision
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

// Open opens the study in dir. Takes that an earlier session left whole but
// without their name are brought to their place first. The desk ends with ctx.
func Open(ctx context.Context, dir string, opt Options) (*Desk, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	d := &Desk{opt: opt, ctx: ctx, quit: make(chan struct{}), store: store{dir: dir, now: opt.Now}}
	found, err := d.store.recover()
	if err != nil {
		return nil, err
	}
	if d.judge, err = pipeline.OpenJudge(ctx, dir, pipeline.Options{Jobs: opt.Jobs, Progress: opt.Progress}); err != nil {
		return nil, err
	}
	d.study = d.judge.Study()
	if d.settings, err = LoadSettings(dir); err != nil {
		return nil, err
	}
	d.safety = Safety{LimitDB: d.settings.LimitDB, GainDB: d.settings.GainDB, Levels: map[string]Level{}}
	if err := d.excitation(); err != nil {
		return nil, err
	}
	rows := planRows(d.study)
	d.session = NewSession(rows)
	if opt.Model != "" {
		one, err := d.firstOf(opt.Model, rows)
		if err != nil {
			return nil, err
		}
		d.session = Session{Rows: rows, At: len(rows) - 1, One: opt.Model}.Added(Row{Seating: one})
	}
	if len(found) > 0 {
		d.screen.Message = "kept from the session before: " + strings.Join(found, ", ")
	}
	return d, nil
}

// planRows are the rows of the sheet, in its order.
func planRows(st *capture.Study) []Row {
	var rows []Row
	for _, s := range st.Seatings {
		rows = append(rows, Row{Seating: s, Recorded: true, Planned: true})
	}
	for _, s := range st.NotRecorded {
		rows = append(rows, Row{Seating: s, Planned: true})
	}
	sortRows(rows)
	return rows
}

// firstOf is one more seating of a model on the fixture.
func (d *Desk) firstOf(model string, rows []Row) (capture.Seating, error) {
	var models []string
	known := map[string]bool{}
	for _, r := range rows {
		if r.Model == "" || known[r.Model] {
			continue
		}
		known[r.Model] = true
		models = append(models, fmt.Sprintf("%q", r.Model))
	}
	if !known[model] {
		return capture.Seating{}, fmt.Errorf("the study holds no model %q; it holds %s", model, strings.Join(models, ", "))
	}
	return another(capture.Seating{Model: model, Subject: capture.FixtureSubject, Point: capture.Blocked}, rows), nil
}

// excitation makes what is played.
func (d *Desk) excitation() error {
	setup := d.judge.Setup()
	if len(setup.Excitation) == 0 {
		d.signal, d.one = setup.Sweep.Signal(), setup.Sweep.Sweep()
		return nil
	}
	w := setup.Sweep
	d.one = setup.Excitation
	d.signal = make([]float64, w.LeadSamples())
	for range max(1, w.Repeats) {
		d.signal = append(append(d.signal, d.one...), make([]float64, w.GapSamples())...)
	}
	for i, v := range d.signal {
		if !(math.Abs(v) <= 1) {
			return fmt.Errorf("%s: sample %d is %g, beyond full scale", d.study.Excitation, i, v)
		}
	}
	return nil
}

// rate is the study's, in hertz.
func (d *Desk) rate() int { return int(d.study.Sweep.RateHz) }

// Study returns the study as it was when the desk was opened.
func (d *Desk) Study() *capture.Study { return d.study }

// Close silences everything and waits until what was begun is kept.
func (d *Desk) Close() {
	d.mu.Lock()
	if d.silence != nil {
		d.silence()
	}
	d.mu.Unlock()
	d.once.Do(func() { close(d.quit) })
	d.work.Wait()
}

// Screen returns what there is to see now.
func (d *Desk) Screen() Screen {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := d.screen
	row, ok := d.session.Row()
	s.Phase, s.Title, s.Recorded = d.session.Phase, d.session.Title(), row.Recorded
	s.Listener = ok && !row.OnFixture()
	s.Left, s.Minutes = d.session.Left(), d.minutes()
	s.GainDB, s.Cautioned = d.safety.GainDB, d.safety.Cautions
	s.Peaks = append([]float64(nil), s.Peaks...)
	s.History = append([]Result(nil), s.History...)
	if d.folder != nil {
		s.From, s.Offer = d.folder.dir, d.folder.offer()
	}
	if ok {
		s.Safety = d.safety.words(row.Model)
	}
	return s
}

// words says what is known of the level of a model.
func (s Safety) words(model string) string {
	l, ok := s.Levels[model]
	switch {
	case !ok:
		return fmt.Sprintf("gain %.0f dB; level not checked in this session", s.GainDB)
	case !l.Known:
		return fmt.Sprintf("gain %.0f dB; level in dB SPL not known, listeners hear at most %.0f dB of gain", s.GainDB, LowGainDB)
	}
	return fmt.Sprintf("gain %.0f dB; %.0f dB(A) at the ear, limit %.0f", s.GainDB, l.At(s.GainDB), s.LimitDB)
}

// seatingSeconds is what placing a headphone takes until the session knows
// better. Common practice, no source.
const seatingSeconds = 45

func (d *Desk) minutes() float64 {
	each := seatingSeconds + float64(len(d.signal))/d.study.Sweep.RateHz
	if len(d.spans) > 2 {
		each = median(d.spans)
	}
	return float64(d.session.Left()) * each / 60
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

// Press does what the operator asks for. It does not wait for sound.
func (d *Desk) Press(k Key) {
	d.update(func() {
		if d.folder != nil && d.folder.press(d, k) {
			return
		}
		if k == Confirm && d.session.Phase == Caution {
			d.safety.Cautions = true
		}
		next, act := d.session.Press(k, d.safety.Cautions)
		row, _ := d.session.Row()
		switch act {
		case Play:
			if d.opt.System == nil {
				return
			}
			if err := d.safety.Refuse(row.Seating); err != nil {
				d.screen.Message = err.Error()
				return
			}
			d.session, d.screen.Message = next, ""
			d.begin(func(ctx context.Context) { d.play(ctx, row) })
			return
		case Silence:
			if d.silence != nil {
				d.silence()
			}
			return
		case AddRow:
			d.session = next.Added(Row{Seating: another(row.Seating, d.session.Rows)})
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
	d.update(func() { d.screen.Now = d.stamp(row.File) })
	got, err := d.sound(ctx, d.signal, d.gain())
	switch {
	case err != nil:
		d.fail(err)
	case got.Stopped:
		d.fail(errors.New("stopped; nothing was kept of this take"))
	default:
		d.keep(row, lostOf(got, d.rate()), func(s capture.Seating) error {
			return d.store.save(s, wavfile.Format{RateHz: d.rate(), Channels: len(d.channels(got.Samples)), Bits: 32, Float: true}, d.channels(got.Samples))
		})
	}
}

func (d *Desk) stamp(file string) string {
	return file + ", " + d.opt.Now().Format("15:04:05")
}

func (d *Desk) gain() float64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.safety.GainDB
}

// fail goes back to the row and says why.
func (d *Desk) fail(err error) {
	d.update(func() {
		d.screen.Message, d.screen.Now, d.screen.Peaks = err.Error(), "", nil
		d.session = d.session.Heard(false)
	})
}

// tailSeconds is how much longer than the excitation is recorded: what buffers
// and rooms take.
const tailSeconds = 1.0

// sound plays a signal on the outputs of the settings and records all inputs.
func (d *Desk) sound(ctx context.Context, signal []float64, gainDB float64) (audio.Take, error) {
	d.mu.Lock()
	set := d.settings
	d.mu.Unlock()
	cfg, err := set.config(d.opt.System, d.rate())
	if err != nil {
		return audio.Take{}, err
	}
	return audio.Record(ctx, d.opt.System, cfg, audio.Playing{Signal: signal, Gain: math.Pow(10, gainDB/20), On: set.Outputs,
		Seconds: float64(len(signal))/float64(d.rate()) + tailSeconds, Levels: d.meter})
}

// meter shows the peaks of the inputs of the study.
func (d *Desk) meter(peaks []float64) {
	if !d.mu.TryLock() { // the driver must not wait
		return
	}
	in := d.settings.Inputs
	d.screen.Peaks = d.screen.Peaks[:0:0]
	for _, i := range []int{in.Left, in.Right, in.Loopback} {
		if i > 0 && i <= len(peaks) {
			d.screen.Peaks = append(d.screen.Peaks, peaks[i-1])
		}
	}
	d.mu.Unlock()
}

// channels puts the inputs where the study has its channels. Channels of the
// file that the study does not name are silent.
func (d *Desk) channels(inputs [][]float64) [][]float64 {
	c, in := d.study.Channels, d.settings.Inputs
	out := make([][]float64, max(c.Left, c.Right, c.Loopback))
	for _, m := range [][2]int{{c.Left, in.Left}, {c.Right, in.Right}, {c.Loopback, in.Loopback}} {
		if m[0] > 0 {
			out[m[0]-1] = inputs[m[1]-1]
		}
	}
	for i := range out {
		if out[i] == nil {
			out[i] = make([]float64, len(inputs[0]))
		}
	}
	return out
}

// lostOf says what the driver lost, or that the device does not run at the
// study's rate.
func lostOf(t audio.Take, rate int) (out []string) {
	if n := t.Counters.UnderRuns + t.Counters.DropOuts; n > 0 {
		out = append(out, fmt.Sprintf("the sound device lost samples: %d under-runs of playback, %d drop-outs of recording; close other programs and record again", t.Counters.UnderRuns, t.Counters.DropOuts))
	}
	for _, d := range []audio.Device{t.Playback, t.Capture} {
		if !d.RunsAt(rate) {
			out = append(out, fmt.Sprintf("%s runs at %v Hz, the study at %d: the system resamples; set the device to the rate of the study", d.Name, d.RatesHz, rate))
		}
	}
	return out
}

// keep stores a take, puts its row into the sheet and has it judged. against is
// what speaks against it already.
func (d *Desk) keep(row Row, against []string, save func(capture.Seating) error) {
	err := func() error {
		if !row.Planned {
			if err := d.store.edit(func(t *study.SheetText) error { return t.Add(row.Seating, d.before(row)) }); err != nil {
				return err
			}
		}
		return save(row.Seating)
	}()
	if err != nil {
		d.fail(err)
		return
	}
	d.update(func() {
		d.session = d.session.Heard(true)
		d.screen.Now, d.screen.Peaks = d.stamp(row.File), nil
		now := d.opt.Now()
		if !d.began.IsZero() {
			d.spans = append(d.spans, now.Sub(d.began).Seconds())
		}
		d.began = now
	})
	d.assess(row.Seating, against)
}

// before is the recording behind whose row a new one belongs.
func (d *Desk) before(row Row) string {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i, r := range d.session.Rows {
		if r.File == row.File && i > 0 && d.session.Rows[i-1].Planned {
			return d.session.Rows[i-1].File
		}
	}
	return ""
}

// assess judges the recording of a row and shows what came of it.
func (d *Desk) assess(row capture.Seating, against []string) {
	j, err := d.judge.Judge(d.ctx, row)
	d.update(func() {
		d.screen.Now = ""
		r := Result{File: row.File, Title: Words(row), Time: d.opt.Now().Format("15:04:05"), More: append([]string(nil), against...)}
		if err != nil {
			r.Word, r.Tone, r.Do = "not judged", table.Bad, []string{err.Error()}
		} else {
			d.describe(&r, j, len(against) > 0)
			d.learn(row, j.Recording)
		}
		d.screen.Result = r
		d.screen.History = append(d.screen.History, r)
		d.session = d.session.Judge(r.Keep)
	})
}

// describe puts a judgement into the words of a run.
func (d *Desk) describe(r *Result, j pipeline.Judgement, doubt bool) {
	s := view.New(j.Results).State(r.File)
	r.Word, r.Tone, r.Do = s.Word, s.Tone, s.Do
	r.More = append(r.More, s.Detail...)
	if s.Seal != "" {
		r.Do = append(r.Do, s.Seal)
	}
	r.Keep = j.Recording.Quality.Usable() && !doubt
	if doubt {
		r.Word, r.Tone = "again", table.Bad
		r.Do = []string{r.More[0]}
	}
	for _, m := range j.Results.Analysis.Models {
		for _, v := range m.Verdicts {
			r.ForwardMM, r.UpMM, r.Placed = position(v)
		}
	}
}

// learn takes what a fixture recording says of the level.
func (d *Desk) learn(row capture.Seating, rec capture.Recording) {
	if !row.OnFixture() || !rec.Quality.Usable() || d.opt.System == nil {
		return
	}
	l := Level{DB: math.Inf(-1), GainDB: d.safety.GainDB, Known: true}
	mics := d.judge.Setup().Microphones
	for e, channel := range [2]int{d.study.Channels.Left, d.study.Channels.Right} {
		if channel > 0 {
			l.Known = l.Known && mics[e].PaPerUnit > 0
			l.DB = max(l.DB, rec.Ears[e].SweepLevelA)
		}
	}
	if old, ok := d.safety.Levels[row.Model]; ok && old.Known && !l.Known {
		return // read off an instrument: that stays
	}
	d.safety.Levels[row.Model] = l
}

// SetGain changes the gain of playback by a step in dB.
func (d *Desk) SetGain(step float64) {
	d.update(func() {
		if d.session.Phase == Playing {
			return
		}
		old := d.safety.GainDB
		d.safety.GainDB = min(0, max(-90, old+step))
		d.settings.GainDB = d.safety.GainDB
		if err := d.settings.Save(d.store.dir); err != nil {
			d.screen.Message = err.Error()
			return
		}
		d.screen.Message = fmt.Sprintf("gain %.0f dB", d.safety.GainDB)
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
				return err
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
				return err
			}
		}
		row.Read = &r
		d.screen.Message = fmt.Sprintf("read: %g mm forward, %g mm up", r.ForwardMM, r.UpMM)
		if d.session.Phase == Judged {
			s := row.Seating
			again = &s
			d.session.Phase = Judging
		}
		return nil
	})
	if again != nil {
		d.work.Go(func() { d.assess(*again, nil) })
	}
}
