// Package take holds the work on one recording, from the samples of its channels
// to the spectra of the repeats that were cut out, and the bench it is done on.
// The rooms of the single steps fill in the rest; it does not know them.
package take

import (
	"math"

	"asworn/capture/finding"
	"asworn/capture/locate"
	"asworn/capture/response"
)

// ChannelNames are the roles in words.
var ChannelNames = [3]string{"left", "right", "loopback"}

// The roles of the channels, as indices.
const (
	Left = iota
	Right
	Loopback
	Roles
)

// Take is the work on one recording.
type Take struct {
	Bench *Bench
	Rec   *response.Recording
	Total int              // samples of the recording
	X     [Roles][]float64 // samples of each role, full scale 1; nil where there is none
	Found locate.Found
	Trace float64   // the highest of the trace in which the repeats were looked for, over its mean, a ratio
	Index []int     // which repeat each found start is, counted from the first found
	Cut   []int     // first sample of each repeat's segment
	Shift []float64 // what remains to align each repeat with the first, in samples
	Keep  []float64 // weight of each repeat, 0 to 1, sum 1; 0 for a dropped one

	Played  []complex128 // spectrum of the excitation as the recorder's clock saw it, without a loopback
	Inverse [2][]float64 // per ear and band, the mean power of what the ear's spectrum was multiplied by

	Ratio   float64 // recorder's clock over the player's, as allowed for, a ratio
	refGain float64 // loopback over digital excitation, or 1

	Peak   [Roles]float64 // of the samples, full scale 1
	Spoilt [Roles]bool    // clipped or cut flat
}

// Ears lists the channels of the ears that are there. Each is a slice of samples, left
// first; nil when neither is.
func (t *Take) Ears() [][]float64 {
	var out [][]float64
	for _, x := range t.X[:2] {
		if x != nil {
			out = append(out, x)
		}
	}
	return out
}

// Place turns the starts into whole samples to cut at.
func (t *Take) Place() {
	t.Index, t.Cut = t.Index[:0], t.Cut[:0]
	for _, s := range t.Found.Start {
		t.Cut = append(t.Cut, int(math.Round(s))-t.Bench.Preroll)
		t.Index = append(t.Index, int(math.Round((s-t.Found.Start[0])/float64(t.Bench.Period))))
	}
	t.Shift = make([]float64, len(t.Cut))
	t.Keep = make([]float64, len(t.Cut))
	for k := range t.Keep {
		t.Keep[k] = 1 / float64(len(t.Keep))
	}
}

// New starts the work on one recording whose channels fit the setup: one slice of samples
// for each channel of the file, all of one length, at least one. They are only read.
// Findings go to rec.
func New(b *Bench, rec *response.Recording, channels [][]float64) *Take {
	t := &Take{Bench: b, Rec: rec, Total: len(channels[0])}
	for i, ch := range b.Channel {
		if ch >= 0 {
			t.X[i] = channels[ch]
		}
	}
	return t
}

// Spectrum returns the buffer for repeat k of a channel. It has Plan.Bins bins, lasts
// until the next recording, and is filled by Transform.
func (t *Take) Spectrum(k, role int) []complex128 { return t.Bench.Buf.spectra[k*Roles+role] }

// Part is one repeat of one channel.
type Part struct{ Repeat, Role int }

// Parts lists the parts of a recording that there are. Channel by channel, repeats in
// their order; nil before Place.
func (t *Take) Parts() (out []Part) {
	for role, x := range t.X {
		for k := range t.Cut {
			if x != nil {
				out = append(out, Part{k, role})
			}
		}
	}
	return out
}

// FirstKept is the number of the first repeat with a weight, 0 when there is none.
// Repeats count from 0.
func (t *Take) FirstKept() int {
	for k, w := range t.Keep {
		if w > 0 {
			return k
		}
	}
	return 0
}

// Add records a finding; the worst come first, and among equals the earlier.
func (t *Take) Add(found ...finding.Finding) { t.Rec.AddFindings(found...) }
