// Package demo writes the demo study: what an invented study sounds like through a
// recorder, with its calibration, its sheets and a few faults on purpose. Physics and
// placements are those of simulate; here they become files.
package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture/study"
	"asworn/capture/workers"
	"asworn/cmd/internal/simulate"
	"asworn/cmd/internal/simulate/piston"
)

// Options choose the size of the demo study; zero values take the default.
type Options struct {
	Seed       uint64 // default 1
	Listeners  int    // default 8
	Seatings   int    // per listener and model, default 4
	SurveySize int    // displacements per model and point, default 13, negative for none
	OneReading bool   // positions are read once, by one person, in seatings.csv
	Model      string // rows of this model and of bare ears alone; empty for all models
	Jobs       int    // workers, default all cores
	Progress   func(done, total int)
}

func (o Options) withDefaults() Options {
	if o.Seed == 0 {
		o.Seed = 1
	}
	if o.Listeners == 0 {
		o.Listeners = 8
	}
	if o.Seatings == 0 {
		o.Seatings = 4
	}
	if o.SurveySize == 0 {
		o.SurveySize = 13
	}
	o.SurveySize = max(o.SurveySize, 0)
	return o
}

// TruthFile is where the truth of a demo study lies, under its folder.
const TruthFile = "truth/truth.json"

// designOf is the bar's panel by the protocol that a lab can carry out: the
// fixture surveyed at both points, ordinary seatings at the drum, two of them off, one with its cups
// apart and one that leaks; glasses that leak on some listeners; and every
// headphone's position read by two people, left and right.
func designOf(opt Options) simulate.Design {
	d := simulate.BarDesign()
	d.Listeners, d.Seatings, d.SurveySize = opt.Listeners, opt.Seatings, opt.SurveySize
	d.Apart, d.BlockedSeatings, d.MarkSD = true, 2, markMM
	d.FixtureOffsetsMM = []float64{0, 0.8, 6, 0.5, 7, 0.3}
	d.FixtureYawMM = []float64{0, 0, 0, yawMM, 0, 0}
	d.LeakListeners, d.LeakChance, d.FixtureLeak = true, 0.3, true
	d.Readings = true
	if !opt.OneReading {
		d.ReadingsEach, d.Readers, d.AllReadAll, d.ReaderSD = 4, 2, true, 0.5
	}
	return d
}

const (
	markMM = 0.3 // how well the stops hold the mark, which study.toml states
	yawMM  = 6.0 // each cup of one fixture seating, in opposite directions
)

// Study returns what Write draws for opt, without a sound of it: the
// true placements and worn means that recordings of the demo are held against.
func Study(opt Options) *simulate.Study {
	opt = opt.withDefaults()
	s := simulate.Draw(opt.Seed, designOf(opt), piston.World)
	if opt.Model != "" {
		s.Rows = slices.DeleteFunc(s.Rows, func(r simulate.Row) bool { return r.Model != "" && r.Model != opt.Model })
		s.Readings = slices.DeleteFunc(s.Readings, func(r study.ReadingRow) bool { return r.Model != "" && r.Model != opt.Model })
	}
	return s
}

// Write writes an invented study into dir, which must not exist or be
// empty: recordings, calibration, study.toml, seatings.csv, a page of cautions, and
// the truth where the pipeline does not look. It appears all at once when it
// is complete; an error leaves nothing behind. The same options give the same bytes.
func Write(ctx context.Context, dir string, opt Options) (Truth, error) {
	opt = opt.withDefaults()
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return Truth{}, fmt.Errorf("%s is not empty; name a new folder for the demo study", dir)
	}
	if err := os.MkdirAll(filepath.Dir(filepath.Clean(dir)), 0o755); err != nil {
		return Truth{}, err
	}
	tmp, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".demo-")
	if err != nil {
		return Truth{}, err
	}
	defer os.RemoveAll(tmp)
	drawn := Study(opt)
	faults := faultsOf(drawn)
	truth := truthOf(drawn, opt.Seed, faults)
	if err := writeText(tmp, drawn, truth); err != nil {
		return Truth{}, err
	}
	if err := writeSounds(ctx, tmp, drawn, faults, opt); err != nil {
		return Truth{}, err
	}
	if err := os.Chmod(tmp, 0o755); err != nil {
		return Truth{}, err
	}
	os.Remove(dir) // empty, or not there
	return truth, os.Rename(tmp, dir)
}

func writeSounds(ctx context.Context, dir string, study *simulate.Study, faults []map[string]bool, opt Options) error {
	return workers.Each(ctx, len(study.Rows), opt.Jobs, opt.Progress, func(context.Context) func(int) error {
		rec := newRecorder(study)
		return func(i int) error {
			sound := rec.hear(study.Rows[i], faults[i], opt.Seed, i)
			return writeWAV(filepath.Join(dir, study.Rows[i].File), sound[:])
		}
	})
}

// faultsOf chooses which rows hold what, by place in the sheet.
func faultsOf(s *simulate.Study) []map[string]bool {
	out := make([]map[string]bool, len(s.Rows))
	for i := range out {
		out[i] = map[string]bool{}
	}
	mark := func(fault, model string, listener, number int) {
		for i, r := range s.Rows {
			if r.Model == model && r.SubjectIndex == listener%s.Design.Listeners && r.Number == 1+(number-1)%s.Design.Seatings {
				out[i][fault] = true
			}
		}
	}
	mark(FaultCough, "Model A", 2, 2)
	mark(FaultClipped, "Model B", 4, 3)
	mark(FaultSwapped, "Model A", 5, 4)
	mark(FaultHum, "Model C", 1, 1)
	mark(FaultClock, "Model C", 6, 2)
	for i, r := range s.Rows {
		if !r.OrdinaryOnFixture() || r.ModelIndex < 0 {
			continue
		}
		k := simulate.FixtureIndex(r)
		if k < len(s.Design.FixtureOffsetsMM) && s.Design.FixtureOffsetsMM[k] > 3 {
			out[i][FaultMoved] = true
		}
		if k < len(s.Design.FixtureYawMM) && s.Design.FixtureYawMM[k] != 0 {
			out[i][FaultYaw] = true
		}
		if r.True[0].SlitMM > 0 {
			out[i][FaultLeak] = true
		}
	}
	return out
}

func writeJSON(path string, v any) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return writeFile(path, append(b, '\n'))
}

func writeFile(path string, b []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o644)
}
