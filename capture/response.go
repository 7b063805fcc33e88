package capture

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
	Valid    []bool    `json:"valid"`     // signal at least 10 dB above noise, inside the swept band

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
	Ears      [2]Response `json:"ears"`
	LevelUnit string      `json:"level_unit"` // "dB re 1 Pa/V", "dB re 1 Pa" or "dB, relative"
	Repeats   int         `json:"repeats"`    // repeats found
	Used      int         `json:"used"`       // repeats kept
	// SoundSeconds is how long the sweeps that were found sounded, all together.
	SoundSeconds float64 `json:"sound_seconds"`
	DriftPPM     float64 `json:"drift_ppm"` // recorder clock against the playback clock
	DriftSEPPM   float64 `json:"drift_stderr_ppm"`
	Quality      Quality `json:"quality"`
}

// Severity orders findings.
type Severity int

// A Note informs; a Warning leaves the recording usable with care; a Refusal
// keeps the recording out of every curve.
const (
	Note Severity = iota
	Warning
	Refusal
)

// String returns "note", "warning" or "refused".
func (s Severity) String() string { return [...]string{"note", "warning", "refused"}[s] }

// Finding is one thing found about a recording.
type Finding struct {
	Code     string   `json:"code"` // stable, kebab-case: "clipping", "mains-hum" …
	Severity Severity `json:"severity"`
	Channel  string   `json:"channel,omitempty"` // "left", "right", "loopback" or empty for the whole file
	Value    float64  `json:"value"`             // the number behind it; never NaN or Inf
	Unit     string   `json:"unit,omitempty"`
	Message  string   `json:"message"` // what was found
	Mend     string   `json:"mend"`    // what the operator can do
}

// Quality is all that was found about a recording, worst first.
type Quality struct {
	Findings []Finding `json:"findings,omitempty"`
}

// Usable reports whether nothing refuses the recording.
func (q Quality) Usable() bool {
	for _, f := range q.Findings {
		if f.Severity == Refusal {
			return false
		}
	}
	return true
}
