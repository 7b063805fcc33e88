package capture

import (
	"errors"
	"fmt"
	"path/filepath"

	"asworn/capture/curve"
	"asworn/capture/finding"
	"asworn/capture/given"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/wavfile"
)

// ProcessRow makes the responses of a row of the study in the folder dir: of its
// recording, or of the response that another program worked out. A given
// response is refused where recordings are calibrated: its levels are not known
// to be in their unit.
func (p *Processor) ProcessRow(dir string, row study.Seating) (response.Recording, error) {
	setup := p.Setup()
	var rec response.Recording
	switch row.Holds {
	case study.HoldsCurve:
		curves, err := readCurves(dir, row, setup)
		if err != nil {
			return rec, err
		}
		rec = given.Curves(curves)
	default:
		in, err := wavfile.Open(filepath.Join(dir, filepath.FromSlash(row.File)))
		if err != nil {
			return rec, err
		}
		defer in.Close()
		if row.Holds == study.HoldsRecording {
			return p.Process(in)
		}
		if rec, err = given.Impulse(in, setup); err != nil {
			return rec, err
		}
	}
	if unit := setup.LevelUnit(); unit != study.RelativeLevel {
		rec.AddFindings(finding.New(finding.OtherUnit,
			fmt.Sprintf("its levels have no known unit, and those of this study's recordings are in %s", unit)))
	}
	return rec, nil
}

// ErrOneEar says that a row names the curve of one ear where the study has two.
var ErrOneEar = errors.New("it holds the curve of one ear, and the study has two")

// readCurves reads the curves of a row by ear; a row of one file is the ear that
// the study has.
func readCurves(dir string, row study.Seating, s study.Setup) (out [2]curve.Curve, err error) {
	ears := []study.Ear{study.Left, study.Right}
	switch {
	case s.Left == 0:
		ears = ears[study.Right:]
	case s.Right == 0:
		ears = ears[:1]
	}
	files := row.Files()
	if len(files) < len(ears) {
		return out, ErrOneEar
	}
	for i, e := range ears {
		f := files[i]
		if len(files) > len(ears) {
			f = files[e]
		}
		if out[e], err = curve.ReadText(filepath.Join(dir, filepath.FromSlash(f))); err != nil {
			return out, err
		}
	}
	return out, nil
}
