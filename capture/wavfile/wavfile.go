// Package wavfile reads and writes WAV recordings: PCM of 8 (reading only), 16,
// 24 and 32 bits and IEEE floats of 32 and 64 bits, of 1 to [MaxChannels]
// channels. It reads RIFF, RF64 and BW64 files and writes RIFF. Samples are float64 with full scale
// at 1. Files are streamed; memory does not grow with their length.
//
// Sources: Microsoft and IBM, Multimedia Programming Interface and Data
// Specifications 1.0 (1991); Microsoft, WAVEFORMATEXTENSIBLE; EBU Tech 3285
// (broadcast chunks); EBU Tech 3306 (RF64); ITU-R BS.2088 (BW64). What is
// taken from go-audio and what is not is told in docs/developing/wav.md.
package wavfile

import (
	"errors"
	"fmt"
)

// Limits beyond which a header is taken for nonsense.
const (
	MaxChannels = 128       // channels of a file
	MinRateHz   = 1000      // Hz
	MaxRateHz   = 1_600_000 // Hz
)

// MaxSample is the largest magnitude of a float sample, with full scale at 1:
// 120 dB above it, where no converter and no unit of a response is (common
// practice, no source). One flipped bit of an exponent lies beyond.
const MaxSample = 1e6

// MaxReadAll is the largest number of samples, over all channels, that
// [ReadAll] holds in memory: 1 GiB of float64, or a quarter of an hour of
// three channels at 48 kHz.
const MaxReadAll = 1 << 27

// Container is what a WAV file's chunks lie in, by the four letters it begins with.
type Container string

// Containers of a WAV file.
const (
	RIFF Container = "RIFF" // sizes of 32 bits: at most 4 GiB
	RF64 Container = "RF64" // EBU Tech 3306
	BW64 Container = "BW64" // ITU-R BS.2088
)

// Format says how samples are stored.
type Format struct {
	RateHz     int       `json:"rate_hz"`
	Channels   int       `json:"channels"`
	Bits       int       `json:"bits"` // per sample as stored, a multiple of 8
	Float      bool      `json:"float,omitempty"`
	Container  Container `json:"container"` // RIFF, RF64 or BW64; only RIFF, or empty, can be written
	Extensible bool      `json:"extensible,omitempty"`
}

// String describes the format in words, as in "48000 Hz, 3 channels, 24-bit".
func (f Format) String() string {
	kind := "bit"
	if f.Float {
		kind = "bit float"
	}
	plural := "s"
	if f.Channels == 1 {
		plural = ""
	}
	return fmt.Sprintf("%d Hz, %d channel%s, %d-%s", f.RateHz, f.Channels, plural, f.Bits, kind)
}

// What can be wrong with a file; every error of this package that is not the
// operating system's wraps one of them in an [Error].
var (
	ErrNotWAV      = errors.New("not a WAV file")
	ErrEmpty       = errors.New("empty file")
	ErrNoSamples   = errors.New("no samples")
	ErrTruncated   = errors.New("truncated")
	ErrCodec       = errors.New("not PCM")
	ErrHeader      = errors.New("impossible header")
	ErrNotFinite   = errors.New("sample is not a finite number")
	ErrImplausible = errors.New("sample far beyond full scale") // while reading, beyond MaxSample
	ErrOverload    = errors.New("sample beyond full scale")     // while writing
	ErrTooLong     = errors.New("too long")
)

// Error is one thing wrong with one file.
type Error struct {
	Path    string // may be empty when a [Reader] was made over something without a name
	Kind    error  // one of the package's sentinels
	Message string // what was found
	Mend    string // what the operator can do
}

// Error gives file, finding and mend in one line.
func (e *Error) Error() string {
	s := e.Message + "; " + e.Mend
	if e.Path == "" {
		return s
	}
	return e.Path + ": " + s
}

// Unwrap returns the kind, for errors.Is.
func (e *Error) Unwrap() error { return e.Kind }
