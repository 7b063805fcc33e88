package bench

import (
	"errors"
	"io/fs"
	"path/filepath"

	"asworn/capture"
	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/fitcorr"
)

// position returns where a fixture seating sits, against where people wear the
// model on the average.
func position(v fitcorr.Verdict) (forwardMM, upMM float64, known bool) {
	off := v.Headset.Off
	return off.Value[0], off.Value[1], off.Seen[0] && off.Seen[1]
}

// read keeps where a headphone was seen to sit: in readings.csv where that has rows of
// placements, else in the sheet.
func (s *store) read(row capture.Seating, r capture.Reading) error {
	name := filepath.Join(s.dir, study.ReadingsFile)
	text, err := disk.ReadFile(name, 16<<20)
	switch {
	case errors.Is(err, fs.ErrNotExist), err == nil && !study.OfPlacements(name, text):
		return s.edit(func(t *study.SheetText) error { return t.Read(row.File, r) })
	case err != nil:
		return err
	}
	after, err := study.AddReading(name, text, study.ReadingRow{Subject: s.named(row).Subject, Model: row.Model, Number: row.Number, ForwardMM: r.ForwardMM, UpMM: r.UpMM})
	if err != nil {
		return err
	}
	return disk.WriteFile(name, after)
}
