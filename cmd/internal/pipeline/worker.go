package pipeline

import (
	"errors"
	"io/fs"
	"path/filepath"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/wavfile"
)

// processRow is process of a row of the sheet, whatever its file holds.
func processRow(p *capture.Processor, dir string, row capture.Seating) (capture.Recording, error) {
	return orRefused(p.ProcessRow(dir, row))
}

// process reads and transforms one recording. A file that can be opened but
// holds no usable sound is a recording with a refusal, so that one bad file
// does not keep the others from being judged; only the operating system's own
// errors are errors.
func process(p *capture.Processor, path string) (capture.Recording, error) {
	return processRow(p, filepath.Dir(path), capture.Seating{File: filepath.Base(path)})
}

func orRefused(rec capture.Recording, err error) (capture.Recording, error) {
	var system *fs.PathError
	if err == nil || errors.As(err, &system) {
		return rec, err
	}
	return refused(err), nil
}

// refused is the recording of a file that could not be processed.
func refused(err error) capture.Recording {
	f := finding.New(finding.Unreadable, err.Error())
	var bad *wavfile.Error
	if errors.As(err, &bad) {
		f.Message, f.Mend = bad.Message, bad.Mend
	}
	rec := capture.Recording{Quality: capture.Quality{Findings: []capture.Finding{f}}}
	for e := range rec.Ears {
		ear := &rec.Ears[e]
		ear.LevelDB, ear.StdErrDB, ear.NoiseDB = make([]float64, band.Count), make([]float64, band.Count), make([]float64, band.Count)
		ear.Valid = make([]bool, band.Count)
		for i := range ear.LevelDB {
			ear.LevelDB[i], ear.NoiseDB[i] = capture.NoLevelDB, capture.NoLevelDB
		}
	}
	return rec
}
