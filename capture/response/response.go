// Package response holds what a recording becomes: a response per ear, in levels
// and noise per band, and what was found about it. It does not know how they are
// made.
package response

import (
	"math"
	"slices"

	"asworn/capture/finding"
	"asworn/capture/study"
)

// NoLevelDB stands where nothing could be measured. It is finite so that
// results stay valid JSON.
const NoLevelDB = -300

// MinSNRDB is how far a band's signal lies above the noise where it is valid.
const MinSNRDB = 10

// HarmonicOrders lists the orders in Response.HarmonicDB.
var HarmonicOrders = [...]int{2, 3, 4, 5}

// Response is what one ear of one recording says: the linear response from
// the drive to the microphone. All per-band slices have length band.Count and
// follow band.All.
type Response struct {
	RateHz  float64   `json:"-"`
	Impulse []float64 `json:"-"` // windowed linear impulse response, Onset samples before the direct sound
	Onset   float64   `json:"-"` // position of the direct sound in Impulse, in samples
	// Delay is how much later than the loopback the direct sound comes, in
	// samples; without a loopback later than where the excitation was placed,
	// which is the same place for both ears and otherwise arbitrary.
	Delay float64 `json:"-"`

	LevelDB  []float64 `json:"level_db"`  // power average over the band; unit in Recording.LevelUnit
	StdErrDB []float64 `json:"stderr_db"` // standard error of LevelDB, from noise and from repeats
	NoiseDB  []float64 `json:"noise_db"`  // noise in the band on the same scale as LevelDB
	Valid    []bool    `json:"valid"`     // signal at least MinSNRDB above noise, inside the swept band

	// HarmonicDB is the level of harmonic order 2, 3, 4, 5 relative to the
	// linear response, per band of the fundamental; nil where the excitation
	// cannot separate them.
	HarmonicDB [][]float64 `json:"harmonic_db,omitempty"`
	// Coherence is the share of the power at the microphone that the response
	// explains, per band; nil for sweeps, whose noise is told from the response
	// in time.
	Coherence []float64 `json:"coherence,omitempty"`
	// Polarity is positive when the direct sound begins upward: of the response
	// from 200 Hz to 2 kHz, the largest swing up less the largest down, over
	// the sum of both; from −1 to 1, 0 when not known.
	Polarity float64 `json:"polarity,omitempty"`
	// SweepLevelDB is the level of the sweep at the microphone: dB SPL when
	// calibrated, else dB re full scale. SweepLevelA is the same, A-weighted.
	SweepLevelDB float64 `json:"sweep_level_db"`
	SweepLevelA  float64 `json:"sweep_level_a_db"`
}

// Recording is one processed WAV file.
type Recording struct {
	Ears      [2]Response     `json:"ears"`
	LevelUnit study.LevelUnit `json:"level_unit"`
	Repeats   int             `json:"repeats"` // repeats found
	Used      int             `json:"used"`    // repeats kept
	// SoundSeconds is how long the sweeps that were found sounded, all together.
	SoundSeconds float64         `json:"sound_seconds"`
	DriftPPM     float64         `json:"drift_ppm"`             // recorder clock against the playback clock, parts per million; above 0 the recorder runs fast
	DriftSEPPM   float64         `json:"drift_stderr_ppm"`      // standard error of that, parts per million; 0 where it was not measured
	LoopbackDB   *float64        `json:"loopback_db,omitempty"` // level of the loopback re the digital excitation; nil without a loopback
	Quality      finding.Quality `json:"quality"`
}

// AddFindings puts further findings into a recording, the worst first. A
// refusal takes away all that was valid.
func (r *Recording) AddFindings(found ...finding.Finding) {
	for _, f := range found {
		if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
			f.Value = 0
		}
		r.Quality.Findings = append(r.Quality.Findings, f)
	}
	slices.SortStableFunc(r.Quality.Findings, func(a, b finding.Finding) int { return int(b.Severity) - int(a.Severity) })
	if !r.Quality.Usable() {
		for e := range r.Ears {
			clear(r.Ears[e].Valid)
		}
	}
}

// Decibels is 10·lg of a power ratio, floored at NoLevelDB.
func Decibels(power float64) float64 {
	if !(power > 1e-30) {
		return NoLevelDB
	}
	return 10 * math.Log10(power)
}
