package pipeline

import (
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

// frozenModels are the models of rows.
func frozenModels(rows []capture.Seating) (out []frozenModel) {
	for _, row := range rows {
		if row.Model == "" {
			continue
		}
		at := slices.IndexFunc(out, func(m frozenModel) bool { return m.Name == row.Model })
		if at < 0 {
			at = len(out)
			out = append(out, frozenModel{Name: row.Model, Holds: study.HoldsImpulse})
		}
		if row.OnFixture() && row.Holds != study.HoldsImpulse { // curves are told by their names
			out[at].Holds = study.HoldsRecording
		}
		if row.OrdinaryOnFixture() { // a survey has numbers of its own
			out[at].Highest = max(out[at].Highest, row.Number)
		}
	}
	return out
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
