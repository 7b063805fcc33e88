// Package excitation works out, once for a setup, all that the recordings of it
// share: lengths, spectra, windows, the band, and when each frequency is passed.
// It knows no recording.
package excitation

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/locate"
	"asworn/capture/samples"
	"asworn/capture/study"

	"gonum.org/v1/gonum/floats"
)

// Plan is what all clones share; nobody writes to it after New.
type Plan struct {
	Setup    study.Setup
	Channel  [3]int // 0-based channel of left, right, loopback; −1 for none
	RateHz   float64
	Repeats  int
	X        []float64 // one repeat of the excitation, full scale 1, at RateHz
	XRMS     float64   // its root mean square, full scale 1
	Preroll  int       // samples cut before the expected start of a repeat
	gap      int
	Period   int
	Tail     int // samples kept after the end of a repeat
	Segment  int // preroll + len(x) + tail
	N        int // transform length
	Fft      *deconv.FFT
	Spectrum []complex128
	Energy   float64 // Σ|Spectrum|² over its bins
	// smooth is |excitation|² averaged over neighbouring bins where the
	// response must be fitted, else nil.
	Smooth []float64
	// passing is when the excitation passes each bin's frequency, in seconds
	// from its start; nil when it does so more than once.
	Passing  []float64
	LowHz    float64 // edges of the band in which the excitation has content
	HighHz   float64
	Design   bool            // a synchronised sweep: harmonics separate
	Flatness float64         // samples at its tops over those just below, a ratio
	Abrupt   bool            // it has breaks of its own, as noise and music have
	Turn     []float64       // 2·cos ω of a sweep, per sample; else nil
	pass     []float64       // 1 inside the band, falling to 0 outside, per bin
	Correct  [2][]complex128 // 1 over the microphone's response, per bin
	AWeight  []float64       // of the power, per bin, 1 at 1 kHz
	Bands    []band.Band
	Pre      int // window, in samples
	Post     int
	Window   []float64 // Pre + Post weights, 0 to 1, about the direct sound
	SumW2    float64   // Σw², in samples
	SumW4    float64   // Σw⁴, in samples
	Kappa    []float64 // per band, the part of its energy that the window lets noise meet, 0 to 1
	Orders   []harmonic
	HarmN    int // transform length for harmonic responses
}

const prerollSeconds = 0.02

// New checks the setup and works out what recordings share. It fails on channels that
// name no ear or one twice, on a sweep or an excitation that cannot be played, on a
// microphone correction that cannot be used, and on a window that does not fit.
func New(s study.Setup) (*Plan, error) {
	c := &Plan{Setup: s, RateHz: s.Sweep.RateHz, Bands: band.All(), Design: len(s.Excitation) == 0}
	if s.Left < 0 || s.Right < 0 || s.Loopback < 0 || (s.Left == 0 && s.Right == 0) {
		return nil, errors.New("capture: name the channel of at least one ear, counted from 1")
	}
	c.Channel = [3]int{s.Left - 1, s.Right - 1, s.Loopback - 1}
	for i, a := range c.Channel {
		for _, b := range c.Channel[:i] {
			if a >= 0 && a == b {
				return nil, fmt.Errorf("capture: channel %d is named twice", a+1)
			}
		}
	}
	d := s.Sweep
	if c.Design {
		if err := d.Validate(); err != nil {
			return nil, err
		}
		c.X, c.XRMS = d.Sweep(), d.RMS()
		c.LowHz, c.HighHz = d.StartHz, d.StopHz
	} else {
		if !(d.RateHz > 0) || d.GapSeconds < 0 || d.LeadSeconds < 0 || d.Repeats < 0 {
			return nil, errors.New("capture: an excitation file needs its rate, and no negative gap, lead or repeats")
		}
		c.X = s.Excitation
		c.XRMS = floats.Norm(c.X, 2) / math.Sqrt(float64(len(c.X)))
		if !(c.XRMS > 0) || math.IsInf(c.XRMS, 0) {
			return nil, errors.New("capture: the excitation is silent or not finite")
		}
	}
	c.Repeats = max(1, d.Repeats)
	if !c.Design && c.Repeats > 1 && d.GapSeconds < 2*prerollSeconds {
		// Without silence between them the repeats are one long excitation.
		c.X = slices.Concat(slices.Repeat([][]float64{c.X}, c.Repeats)...)
		c.Repeats = 1
	}
	c.layout()
	c.prepareTurn()
	c.Abrupt = !c.Design && c.startles()
	for _, top := range samples.FlatTops(c.X, samples.ExtremesOf(c.X, samples.Extremes{}), samples.FlatZone) {
		c.Flatness = max(c.Flatness, top.Ratio())
	}
	if err := c.prepareSpectra(); err != nil {
		return nil, err
	}
	if err := c.prepareWindow(); err != nil {
		return nil, err
	}
	return c, nil
}

// Target is what is looked for in a recording.
func (c *Plan) Target() locate.Target {
	return locate.Target{X: c.X, RateHz: c.RateHz, LowHz: c.LowHz, HighHz: c.HighHz,
		Repeats: c.Repeats, Period: c.Period, Preroll: c.Preroll}
}

// Bins is the number of bins of a spectrum. Bin k lies at k·RateHz/N Hz.
func (c *Plan) Bins() int { return c.N/2 + 1 }

// layout fixes the lengths: how much is cut around a repeat, and the size of
// its transform.
func (c *Plan) layout() {
	samples := func(seconds float64) int { return int(math.Round(seconds * c.RateHz)) }
	c.Preroll = samples(prerollSeconds)
	c.gap = samples(c.Setup.Sweep.GapSeconds)
	c.Period = len(c.X) + c.gap
	post := c.Setup.Window.PostSeconds
	if post == 0 {
		post = DefaultPost
	}
	c.Tail = min(samples(post+0.05), max(0, c.gap-c.Preroll)) // what the window needs
	if c.Repeats == 1 {
		c.Tail = samples(1) // nothing follows: silence as far as it was recorded
	}
	c.Segment = c.Preroll + len(c.X) + c.Tail
	c.N = deconv.FastLen(c.Segment)
}
