package capture

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/study"
)

// NoLevelDB stands where nothing could be measured. It is finite so that
// results stay valid JSON.
const NoLevelDB = -300

// HarmonicOrders lists the orders in Response.HarmonicDB.
var HarmonicOrders = [...]int{2, 3, 4, 5}

// Processor turns recordings into responses. It is built once from a Setup and
// keeps transform plans, the excitation's spectrum and buffers; one goroutine
// may use it at a time. Clone gives further ones, which share what is constant.
// A processor works on as many cores as its clones leave free; see SetWorkers.
type Processor struct {
	*constants
	desks desks
	own   *desk // while it works
	buf   buffers
	find  *locator
	input input
}

// constants is what all clones share; nobody writes to it after New.
type constants struct {
	setup    study.Setup
	channel  [3]int // 0-based channel of left, right, loopback; −1 for none
	rate     float64
	repeats  int
	x        []float64 // one repeat of the excitation
	xRMS     float64
	preroll  int // samples cut before the expected start of a repeat
	gap      int
	period   int
	tail     int // samples kept after the end of a repeat
	segment  int // preroll + len(x) + tail
	n        int // transform length
	fft      *deconv.FFT
	spectrum []complex128
	energy   float64 // of the spectrum
	// smooth is |excitation|² averaged over neighbouring bins where the
	// response must be fitted, else nil.
	smooth []float64
	// passing is when the excitation passes each bin's frequency, in seconds
	// from its start; nil when it does so more than once.
	passing  []float64
	lowHz    float64 // edges of the band in which the excitation has content
	highHz   float64
	design   bool            // a synchronised sweep: harmonics separate
	flatness float64         // samples at its tops over those just below
	abrupt   bool            // it has breaks of its own, as noise and music have
	turn     []float64       // 2·cos ω of a sweep, per sample; else nil
	pass     []float64       // 1 inside the band, falling to 0 outside, per bin
	correct  [2][]complex128 // 1 over the microphone's response, per bin
	aWeight  []float64       // of the power, per bin
	bands    []band.Band
	pre      int // window, in samples
	post     int
	window   []float64
	sumW2    float64   // Σw²
	sumW4    float64   // Σw⁴
	kappa    []float64 // per band, the share of its energy that the window lets noise meet
	orders   []harmonic
	harmN    int // transform length for harmonic responses
}

// buffers hold what lasts from one step on a recording to the next, and are
// reused from recording to recording.
type buffers struct {
	spectra  [][]complex128 // per repeat and channel
	inverse  []complex128   // of the reference, for the last repeat
	power2   []float64      // per bin: of the reference, over its smoothed power
	stretch  []complex128
	reach    []float64 // up to the excitation's lowest frequency: the share of the response that the division leaves
	extremes [roles]extremes
}

const prerollSeconds = 0.02

// NewProcessor checks the setup and prepares everything that recordings share.
func NewProcessor(s study.Setup) (*Processor, error) {
	c := &constants{setup: s, rate: s.Sweep.RateHz, bands: band.All(), design: len(s.Excitation) == 0}
	if s.Left < 0 || s.Right < 0 || s.Loopback < 0 || (s.Left == 0 && s.Right == 0) {
		return nil, errors.New("capture: name the channel of at least one ear, counted from 1")
	}
	c.channel = [3]int{s.Left - 1, s.Right - 1, s.Loopback - 1}
	for i, a := range c.channel {
		for _, b := range c.channel[:i] {
			if a >= 0 && a == b {
				return nil, fmt.Errorf("capture: channel %d is named twice", a+1)
			}
		}
	}
	d := s.Sweep
	if c.design {
		if err := d.Validate(); err != nil {
			return nil, err
		}
		c.x, c.xRMS = d.Sweep(), d.RMS()
		c.lowHz, c.highHz = d.StartHz, d.StopHz
	} else {
		if !(d.RateHz > 0) || d.GapSeconds < 0 || d.LeadSeconds < 0 || d.Repeats < 0 {
			return nil, errors.New("capture: an excitation file needs its rate, and no negative gap, lead or repeats")
		}
		c.x = s.Excitation
		c.xRMS = rms(c.x)
		if !(c.xRMS > 0) || math.IsInf(c.xRMS, 0) {
			return nil, errors.New("capture: the excitation is silent or not finite")
		}
	}
	c.repeats = max(1, d.Repeats)
	if !c.design && c.repeats > 1 && d.GapSeconds < 2*prerollSeconds {
		// Without silence between them the repeats are one long excitation.
		c.x = slices.Concat(slices.Repeat([][]float64{c.x}, c.repeats)...)
		c.repeats = 1
	}
	c.layout()
	c.prepareTurn()
	c.abrupt = !c.design && c.startles()
	for _, top := range flatTops(c.x, extremesOf(c.x, extremes{}), flatZone) {
		c.flatness = max(c.flatness, top.ratio())
	}
	if err := c.prepareSpectra(); err != nil {
		return nil, err
	}
	if err := c.prepareWindow(); err != nil {
		return nil, err
	}
	first, err := newDesk(c)
	if err != nil {
		return nil, err
	}
	p := &Processor{constants: c, find: newLocator(c)}
	p.SetWorkers(runtime.GOMAXPROCS(0))
	<-p.desks
	p.desks <- first
	return p, nil
}

// Clone returns a processor for another goroutine.
func (p *Processor) Clone() *Processor {
	return &Processor{constants: p.constants, desks: p.desks, find: p.find.clone()}
}

// Setup returns what the processor was built from.
func (p *Processor) Setup() study.Setup { return p.setup }

// bins is the number of bins of a spectrum.
func (c *constants) bins() int { return c.n/2 + 1 }

// layout fixes the lengths: how much is cut around a repeat, and the size of
// its transform.
func (c *constants) layout() {
	samples := func(seconds float64) int { return int(math.Round(seconds * c.rate)) }
	c.preroll = samples(prerollSeconds)
	c.gap = samples(c.setup.Sweep.GapSeconds)
	c.period = len(c.x) + c.gap
	post := c.setup.Window.PostSeconds
	if post == 0 {
		post = defaultPost
	}
	c.tail = min(samples(post+0.05), max(0, c.gap-c.preroll)) // what the window needs
	if c.repeats == 1 {
		c.tail = samples(1) // nothing follows: silence as far as it was recorded
	}
	c.segment = c.preroll + len(c.x) + c.tail
	c.n = deconv.FastLen(c.segment)
}

func rms(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

// decibels is 10·lg of a power ratio, floored at NoLevelDB.
func decibels(power float64) float64 {
	if !(power > 1e-30) {
		return NoLevelDB
	}
	return 10 * math.Log10(power)
}
