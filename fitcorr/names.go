package fitcorr

import (
	"asworn/fitcorr/correct"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/sensitivity"
	"asworn/fitcorr/standout"
	"asworn/fitcorr/survey"
	"asworn/fitcorr/verdict"
)

// What goes into Analyse and what its results are made of, under one roof; the
// rooms say what each is.
type (
	Axis     = seat.Axis
	Curve    = seat.Curve
	Estimate = seat.Estimate
	Options  = seat.Options
	Seating  = seat.Seating

	Leak = seal.Leak

	Offset       = position.Offset
	Survey       = survey.Survey
	SurveyReport = survey.Report

	Readings = panel.Readings
	Worn     = panel.Worn

	Alone      = verdict.Alone
	EarVerdict = verdict.EarVerdict
	Likeness   = verdict.Likeness
	Outcome    = verdict.Outcome
	Remedy     = verdict.Remedy
	Seal       = verdict.Seal
	Verdict    = verdict.Verdict

	BudgetRow   = correct.BudgetRow
	Correction  = correct.Correction
	CurveMember = correct.CurveMember
	FinalCurve  = correct.FinalCurve

	Component   = sensitivity.Component
	Influence   = sensitivity.Influence
	Sensitivity = sensitivity.Sensitivity

	StandOut = standout.StandOut
)

// The three axes in the order of every [3]T.
const (
	Forward  = seat.Forward
	Up       = seat.Up
	Rotation = seat.Rotation
)

// Axes lists the axes in array order.
var Axes = seat.Axes

// The parts of a headset that a verdict goes by.
const (
	LeftCup  = verdict.LeftCup
	RightCup = verdict.RightCup
	Headset  = verdict.Headset
)

// The outcomes of a verdict: of position, and of position and seal together.
const (
	Use          = verdict.Use
	Move         = verdict.Move
	Undetermined = verdict.Undetermined
	Reseal       = verdict.Reseal
	MoveReseal   = verdict.MoveReseal
)

// How a cup seals against the worn ones.
const (
	SealAsWorn       = verdict.SealAsWorn
	SealLeaks        = verdict.SealLeaks
	SealTighter      = verdict.SealTighter
	SealUndetermined = verdict.SealUndetermined
)

// DefaultOptions returns the defaults of the study format.
func DefaultOptions() Options { return seat.DefaultOptions() }
