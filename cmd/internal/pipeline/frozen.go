package pipeline

import (
	"errors"
	"io/fs"
	"path/filepath"
	"slices"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/capture/study"
	"asworn/cmd/internal/cache"
	"asworn/fitcorr"
	"asworn/report"
)

// frozen is all that a check needs of a study: results/frozen.gob.
type frozen struct {
	Texts  cache.Key // of study.toml and seatings.csv
	About  report.Results
	Setup  capture.Setup // sealed by itself
	Models []frozenModel
	Rows   []capture.Seating // with their traits: what a new recording is compared with
	Traits []compare.Traits
	Fit    fitcorr.Frozen
}

type frozenModel struct {
	Name    string
	Highest int         // number of the last ordinary seating on the fixture
	Holds   study.Holds // what all its files on the fixture hold, a recording where they differ
}

// freeze collects what checks need.
func (u *run) freeze(about report.Results, fit fitcorr.Frozen) frozen {
	f := frozen{Texts: u.texts, About: about, Setup: u.setup, Rows: u.study.Seatings, Traits: u.traits, Fit: fit}
	for _, row := range u.study.Seatings {
		if row.Model == "" {
			continue
		}
		at := slices.IndexFunc(f.Models, func(m frozenModel) bool { return m.Name == row.Model })
		if at < 0 {
			at = len(f.Models)
			f.Models = append(f.Models, frozenModel{Name: row.Model, Holds: study.HoldsImpulse})
		}
		if row.OnFixture() && row.Holds != study.HoldsImpulse { // curves are told by their names
			f.Models[at].Holds = study.HoldsRecording
		}
		if row.OrdinaryOnFixture() { // a survey has numbers of its own
			f.Models[at].Highest = max(f.Models[at].Highest, row.Number)
		}
	}
	return f
}

// frozenKey binds a frozen study to the program that can judge by it.
func frozenKey(program cache.Key) (cache.Key, error) { return cache.KeyOf("frozen", program) }

// seal returns the content of results/frozen.gob.
func (f frozen) seal(program cache.Key) ([]byte, error) {
	key, err := frozenKey(program)
	if err != nil {
		return nil, err
	}
	setup := f.Setup // first, for the work that can begin with it
	f.Setup = capture.Setup{}
	return cache.Seal(key, setup, f)
}

// textsKey hashes what a person wrote: study.toml, seatings.csv and readings.csv, if there is one.
func textsKey(dir string) (cache.Key, error) {
	toml, err := cache.FileKey(filepath.Join(dir, capture.StudyFile))
	if err != nil {
		return cache.Key{}, err
	}
	sheet, err := cache.FileKey(filepath.Join(dir, capture.SheetFile))
	if err != nil {
		return cache.Key{}, err
	}
	readings, err := cache.FileKey(filepath.Join(dir, study.ReadingsFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return cache.Key{}, err
	}
	return cache.KeyOf(toml, sheet, readings)
}
