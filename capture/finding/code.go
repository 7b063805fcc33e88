package finding

import "slices"

// Code names a kind of finding. Results and scripts rely on its spelling.
type Code string

// All that can be found; docs/quality.md says how each is told and from which
// limit on.
const (
	NotFinite         Code = "not-finite"
	Silent            Code = "silent"
	Clipping          Code = "clipping"
	FlatTop           Code = "flat-top"
	InterSamplePeak   Code = "inter-sample-peak"
	LowLevel          Code = "low-level"
	Noisy             Code = "noisy"
	MainsHum          Code = "mains-hum"
	DCOffset          Code = "dc-offset"
	Dropout           Code = "dropout"
	Click             Code = "click"
	ChannelsSwapped   Code = "channels-swapped"
	IdenticalChannels Code = "identical-channels"
	Polarity          Code = "polarity"
	NoExcitation      Code = "no-excitation"
	OtherExcitation   Code = "other-excitation"
	WrongRate         Code = "wrong-rate"
	Truncated         Code = "truncated"
	Drift             Code = "drift"
	Distortion        Code = "distortion"
	RepeatDropped     Code = "repeat-dropped"
	LevelJump         Code = "level-jump"
	EarsUnequal       Code = "ears-unequal"
	SameContent       Code = "same-content"
	OtherGroup        Code = "other-group"
	UnlikeGroup       Code = "unlike-group"
	MicrophoneBlocked Code = "microphone-blocked"
	MicrophoneOut     Code = "microphone-out"
	GainChanged       Code = "gain-changed"
	Compression       Code = "compression"
	LoopbackNotFlat   Code = "loopback-not-flat"
	NoiseGate         Code = "noise-gate"
	LossyCoding       Code = "lossy-coding"
	Unreadable        Code = "unreadable"
	Changed           Code = "changed"
	GivenResponse     Code = "given-response"
	CoarseCurve       Code = "coarse-curve"
	OtherUnit         Code = "other-unit"
	WrongRecording    Code = "wrong-recording"
)

// usual is what a finding of a code is as a rule.
type usual struct {
	code     Code
	severity Severity
	mend     string
}

// table holds every code once. A check may rate a finding otherwise, or know a
// better mend.
func table() []usual {
	return []usual{
		{NotFinite, Refusal, "record again; the file is damaged"},
		{Silent, Refusal, "check cable, phantom power and the channel numbers of the study"},
		{Clipping, Refusal, "lower the recording gain, or the drive, and record again"},
		{FlatTop, Warning, "lower the gain of the microphone's amplifier, or the drive, and record again"},
		{InterSamplePeak, Warning, "lower the recording gain by a few decibels"},
		{LowLevel, Warning, "raise the recording gain"},
		{Noisy, Warning, "raise the drive within the safe limit, or record in quiet"},
		{MainsHum, Warning, "look for ground loops, unbalanced cables and power supplies near the microphones; one supply for player and recorder helps"},
		{DCOffset, Note, "switch on the high-pass filter of the input, or have the recorder looked at"},
		{Dropout, Refusal, "use larger buffers, close other programs, copy the file again; and record again"},
		{Click, Warning, "check plugs and cables, and record again"},
		{ChannelsSwapped, Refusal, "see which cable went where; record again, or exchange the two channels in a copy of the file and name the copy in the sheet"},
		{IdenticalChannels, Refusal, "check the cables, the recorder's channel linking (stereo, mono) and the channel numbers of the study"},
		{Polarity, Warning, "find the cable, plug or phase switch that turns the sign; levels are not affected, times and phases are"},
		{NoExcitation, Refusal, "check that the right excitation was played, at the right rate and into the right channels, and record again"},
		{OtherExcitation, Refusal, "play the sweep that study.toml states (asworn sweep writes it), or state the one that was played"},
		{WrongRate, Refusal, "set player, recorder and study.toml to the same rate, and record again"},
		{Truncated, Warning, "start recording before playback and stop after the end"},
		{Drift, Note, "nothing for these curves; a common word clock would remove it"},
		{Distortion, Warning, "lower the drive; see that nothing rattles or touches the driver, and that no input is near its limit"},
		{RepeatDropped, Note, "nothing, if the remaining repeats are good; else record again in quiet"},
		{LevelJump, Warning, "seat the microphone again, let the subject hold still, and record again"},
		{EarsUnequal, Warning, "see that both microphones sit in place, both gains are as they were calibrated, and the balance of the player is in the middle"},
		{SameContent, Refusal, "find out which of the two it is; record the other again, or take its row out"},
		{OtherGroup, Warning, "look at its curve beside both groups; correct the row if model or subject were mistaken, else record again"},
		{UnlikeGroup, Warning, "look at its curve beside the others; when nothing in the sheet explains it, record the seating again"},
		{MicrophoneBlocked, Warning, "see that nothing lies over the microphone's opening (hair, wax, the ear's own edge, a cable), and record again"},
		{MicrophoneOut, Warning, "put the microphone back in its place without pushing it deep, and record again"},
		{GainChanged, Warning, "set gain and level as they were, record a calibrator with them, and record again"},
		{Compression, Warning, "switch off limiter, compressor and automatic gain of player and recorder, lower the drive, and record again"},
		{LoopbackNotFlat, Warning, "connect the player's output straight to the recorder's input, with every filter and equaliser off, and record again"},
		{NoiseGate, Warning, "switch off noise gate, expander and noise reduction of recorder and computer, and record again"},
		{LossyCoding, Warning, "record to WAV and nothing else, at the rate of the converter, and record again"},
		{Unreadable, Refusal, "record again"},
		{WrongRecording, Refusal, "say what was recorded, or record it again"},
		{Changed, Note, "it was read anew; recordings should never change, so make sure that this was meant"},
		{GivenResponse, Note, "keep the recordings, and let the study hold them where there is doubt"},
		{CoarseCurve, Warning, "export the curve at 1/24 octave or finer, and not smoothed"},
		{OtherUnit, Refusal, "name the recording that it was made of, or keep given responses in a study without calibrators"},
	}
}

// New returns a finding of the code's usual severity and mend. A code that is
// not in the table gives a refusal without a mend.
func New(code Code, message string) Finding {
	u := usual{code: code, severity: Refusal}
	if i := slices.IndexFunc(table(), func(u usual) bool { return u.code == code }); i >= 0 {
		u = table()[i]
	}
	return Finding{Code: code, Severity: u.severity, Message: message, Mend: u.mend}
}

// On returns the finding as one of a channel: "left", "right" or "loopback".
func (f Finding) On(channel string) Finding { f.Channel = channel; return f }

// Of returns the finding with the number behind it and its unit, which may be empty. The
// unit is text such as "dB" or "Hz".
func (f Finding) Of(value float64, unit string) Finding { f.Value, f.Unit = value, unit; return f }

// Rated returns the finding with another severity than the usual one.
func (f Finding) Rated(s Severity) Finding { f.Severity = s; return f }

// Mended returns the finding with another mend than the usual one.
func (f Finding) Mended(how string) Finding { f.Mend = how; return f }
