// Package report holds Results, all that a run found, and its JSON form. The
// packages below it show them: view says what they hold in tables (table),
// figures (figure) and sentences, page makes the HTML page, export what other
// tools take. None of them knows how a number was estimated.
package report

import (
	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
)

// Results is all that a run found; the JSON export holds exactly this.
type Results struct {
	Schema     string           `json:"schema"` // "asworn-results-2"
	Title      string           `json:"title"`
	Fixture    string           `json:"fixture"`
	Coupler    string           `json:"coupler,omitempty"`
	LevelUnit  study.LevelUnit  `json:"level_unit"`
	Options    Options          `json:"options"`
	BandsHz    []float64        `json:"bands_hz"`  // mid-band frequencies, 1/24 octave
	ThirdsHz   []float64        `json:"thirds_hz"` // mid-band frequencies, 1/3 octave
	Recordings []Recording      `json:"recordings"`
	Analysis   fitcorr.Analysis `json:"analysis"`
	// ReferenceDB is the fixture's own reference (with slope) per kept band, nil without one.
	ReferenceDB []float64 `json:"reference_db,omitempty"`
	Findings    []string  `json:"findings,omitempty"` // about the study as a whole
	// PanelChanges say who, of listeners and fixture, is not who earlier studies of the
	// panel knew under that name; nil when nobody is.
	PanelChanges []string `json:"panel_changes,omitempty"`
}

// Options are the choices that shaped the results.
type Options struct {
	study.Limits
	SlopeDBPerOctave float64 `json:"slope_db_per_octave"`
}

// Recording is one row of the seating sheet with what became of it.
type Recording struct {
	capture.Seating
	Usable   bool              `json:"usable"`
	Findings []capture.Finding `json:"findings,omitempty"`
	Repeats  int               `json:"repeats"`
	Used     int               `json:"used"`
	DriftPPM float64           `json:"drift_ppm"`
	Ears     [2]fitcorr.Curve  `json:"ears"`
	NoiseDB  [2][]float64      `json:"noise_db"`
	// SoundSeconds is how long the sweeps sounded, all repeats together.
	SoundSeconds float64 `json:"sound_seconds,omitempty"`
	// SweepLevelA is the A-weighted level of the sweep, dB SPL; 0 when not calibrated.
	SweepLevelA [2]float64 `json:"sweep_level_a_db"`
}
