package capture

import (
	"asworn/capture/curve"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/textfile"
)

// What a Processor is set up with and what it is told about a recording, under
// one roof; package study says what each is.
type (
	Curve      = curve.Curve
	Ear        = study.Ear
	Microphone = study.Microphone
	Setup      = study.Setup
	Window     = study.Window

	Displacement       = study.Displacement
	Point              = study.Point
	Reading            = study.Reading
	ReadingUncertainty = study.ReadingUncertainty
	Seating            = study.Seating
	Study              = study.Study
	StudyErrors        = textfile.Errors
)

// What a Processor returns.
type (
	Finding   = finding.Finding
	Quality   = finding.Quality
	Recording = response.Recording
	Response  = response.Response
	Severity  = finding.Severity
)

// Values of those types.
const (
	Note    = finding.Note
	Warning = finding.Warning
	Refusal = finding.Refusal

	NoLevelDB = response.NoLevelDB

	Left  = study.Left
	Right = study.Right

	Blocked        = study.Blocked
	Drum           = study.Drum
	FixtureSubject = study.FixtureSubject
	MaxReadingMM   = study.MaxReadingMM
	StudyFile      = study.SettingsFile
	SheetFile      = study.SheetFile
)

// Ears lists both ears in array order.
var Ears = study.Ears
