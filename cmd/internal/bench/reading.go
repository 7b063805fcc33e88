package bench

import (
	"bytes"
	"cmp"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture"
	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/fitcorr"
)

// sortRows puts rows into the order of the sheet.
func sortRows(rows []Row) {
	slices.SortStableFunc(rows, func(a, b Row) int { return cmp.Compare(a.Seating.Row, b.Seating.Row) })
}

// position returns where a fixture seating sits, against where people wear the
// model on the average.
func position(v fitcorr.Verdict) (forwardMM, upMM float64, known bool) {
	off := v.Headset.Off
	return off.Value[0], off.Value[1], off.Seen[0] && off.Seen[1]
}

// read keeps where a headphone was seen to sit: in readings.csv where the study
// has one, else in the sheet.
func (s *store) read(row capture.Seating, r capture.Reading) error {
	name := filepath.Join(s.dir, study.ReadingsFile)
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		return s.edit(func(t *study.SheetText) error { return t.Read(row.File, r) })
	}
	rows, err := study.LoadReadings(name)
	if err != nil {
		return err
	}
	rows = append(rows, study.ReadingRow{Subject: row.Subject, Model: row.Model, Number: row.Number, ForwardMM: r.ForwardMM, UpMM: r.UpMM})
	var b bytes.Buffer
	if err := study.WriteReadings(&b, rows); err != nil {
		return err
	}
	return disk.WriteFile(name, b.Bytes())
}
