// Package given takes responses that another program worked out, impulse
// responses in WAV files and curves in text files, into the place of those that
// recordings become. What only a recording can show is not known of them, and
// each says so in a finding; what can be checked is. It knows nothing of a study
// but its setup.
package given

import (
	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
)

// empty is a recording of which nothing is known yet.
func empty() response.Recording {
	rec := response.Recording{LevelUnit: study.RelativeLevel}
	for e := range rec.Ears {
		r := &rec.Ears[e]
		r.LevelDB, r.StdErrDB, r.NoiseDB = make([]float64, band.Count), make([]float64, band.Count), make([]float64, band.Count)
		r.Valid = make([]bool, band.Count)
		for i := range r.LevelDB {
			r.LevelDB[i], r.NoiseDB[i] = response.NoLevelDB, response.NoLevelDB
		}
	}
	return rec
}

// untold is the finding that says what cannot be checked.
func untold(what, untold string) finding.Finding {
	return finding.New(finding.GivenResponse, what+", not a recording: "+untold+" cannot be told from it")
}
