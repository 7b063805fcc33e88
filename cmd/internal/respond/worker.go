package respond

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/disk"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/textfile"
	"asworn/capture/wavfile"
	"asworn/report"
)

// Process is processRow of a file that is in no row, and holds what it is said to hold,
// without impulse responses.
func Process(p **capture.Processor, path string, holds study.Holds) (capture.Recording, error) {
	rec, err := processRow(p, filepath.Dir(path), capture.Seating{File: filepath.Base(path), Holds: holds})
	dropImpulses(&rec)
	return rec, err
}

// processRow reads and transforms the file of one row. A file that can be opened
// but holds no usable sound, or on which the program fails, is a recording with a
// refusal, so that one bad file does not keep the others from being judged; only
// the operating system's own errors are errors. After a fault *p is nil: what it
// holds may be half done.
func processRow(p **capture.Processor, dir string, row capture.Seating) (rec capture.Recording, err error) {
	err = Guard(func() error {
		rec, err = (*p).ProcessRow(dir, row)
		return err
	})
	if err == nil {
		err = plausible(rec)
	}
	var system *fs.PathError
	var failed *fault
	switch {
	case err == nil:
		return rec, nil
	case errors.As(err, &failed):
		*p = nil
	case errors.As(err, &system) && !errors.Is(err, disk.ErrNotRegular) && !errors.Is(err, disk.ErrTooLarge):
		return rec, err
	}
	return refused(err), nil
}

// maxLevelDB is beyond what a microphone, a converter and a correction together
// can give, in any unit of the study: 1e6 of full scale is 120 dB.
const maxLevelDB = 300

// errNotFinite marks values that no response can have.
var errNotFinite = errors.New("no response can have that")

// plausible reports a number in a recording that is not finite, or a level that
// counts and is impossible. Nothing else looks at this again.
func plausible(rec capture.Recording) error {
	if where := report.NotFinite(rec); where != "" {
		return fmt.Errorf("%s is not a finite number: %w", where, errNotFinite)
	}
	for e, r := range rec.Ears {
		for _, v := range []float64{r.RateHz, r.Onset, r.Delay} {
			if v-v != 0 {
				return fmt.Errorf("the time of arrival at the %s ear is not a finite number: %w", study.Ear(e), errNotFinite)
			}
		}
		for _, v := range r.Impulse {
			if v-v != 0 {
				return fmt.Errorf("the impulse response of the %s ear is not finite: %w", study.Ear(e), errNotFinite)
			}
		}
		for i, b := range band.All() {
			if i < len(r.Valid) && r.Valid[i] && math.Abs(r.LevelDB[i]) > maxLevelDB {
				return fmt.Errorf("a level of %.0f dB at %.0f Hz, %s ear: %w", r.LevelDB[i], b.Mid, study.Ear(e), errNotFinite)
			}
		}
	}
	return nil
}

// refused is the recording of a file that could not be processed.
func refused(err error) capture.Recording {
	f := finding.New(finding.Unreadable, err.Error())
	var bad *wavfile.Error
	var failed *fault
	var lines textfile.Errors // of a curve
	switch {
	case errors.As(err, &bad):
		f.Message, f.Mend = bad.Message, bad.Mend
	case errors.As(err, &lines) && len(lines) > 0:
		first := lines[0]
		f.Mend, first.Mend = first.Mend, ""
		f.Message = first.Error()
		if more := len(lines) - 1; more > 0 {
			f.Message += fmt.Sprintf(" (and %d more like it)", more)
		}
	case errors.As(err, &failed):
		f.Mend = FaultMend
	case errors.Is(err, capture.ErrOneEar):
		f.Mend = `name one file for each ear, left before right, as in "new-{L|R}.txt"`
	case errors.Is(err, errNotFinite):
		f = finding.New(finding.NotFinite, err.Error())
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
