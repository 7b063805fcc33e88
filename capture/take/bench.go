package take

import (
	"runtime"
	"sync"
	"sync/atomic"

	"asworn/capture/deconv"
	"asworn/capture/excitation"
	"asworn/capture/samples"
)

// Bench is where one goroutine works on a recording after the other: the
// constants, the buffers of the recording at hand, and its own desk.
type Bench struct {
	*excitation.Plan
	desks desks
	Own   *Desk // while it works
	Buf   buffers
}

// NewBench returns a bench on which GOMAXPROCS goroutines may work.
func NewBench(p *excitation.Plan) *Bench {
	b := &Bench{Plan: p}
	b.SetWorkers(runtime.GOMAXPROCS(0))
	return b
}

// Clone returns a bench for another goroutine, which shares plan and desks.
func (p *Bench) Clone() *Bench { return &Bench{Plan: p.Plan, desks: p.desks} }

// SetWorkers sets how many goroutines may work at the same time on this bench and the
// clones that are made of it from now on, together. Fewer than one count as one.
func (p *Bench) SetWorkers(n int) { p.desks = newDesks(max(1, n)) }

// buffers hold what lasts from one step on a recording to the next, and are
// reused from recording to recording.
type buffers struct {
	spectra  [][]complex128 // per repeat and channel
	Inverse  []complex128   // of the reference, for the last repeat
	Power2   []float64      // per bin: of the reference, over its smoothed power
	Stretch  []complex128
	Reach    []float64 // up to the excitation's lowest frequency: the share of the response that the division leaves
	Extremes [Roles]samples.Extremes
}

// Desk is what one goroutine needs to work on a part of a recording: plans and
// buffers that nobody else uses meanwhile. Nothing on it is meant to last from
// one part to the next.
type Desk struct {
	FFT      *deconv.FFT
	Eighth   *deconv.FFT // of N/8 samples, made when needed
	Levels   *deconv.BandPower
	Harm     *deconv.FFT
	Welch    *deconv.Welch       // made when needed
	Segment  []float64           // N samples: a repeat that was cut out
	Impulse  []float64           // N samples
	Mean     []complex128        // spectrum, per bin
	Misfit   []complex128        // of the fit, where there is one
	Density  []float64           // per bin
	Power    []float64           // per band
	PSD      []float64           // by Welch
	Frames   *deconv.Periodogram // made when needed
	Columns  []float64           // of the powers of frames, bin by bin
	Floor    []float64           // of each frame of the excitation, median power over the bins; made when needed
	Whole    []float64           // … and power of all bins
	HarmSeq  []float64           // HarmN samples
	HarmSpec []complex128
}

func newDesk(c *excitation.Plan) (*Desk, error) {
	d := &Desk{FFT: c.Fft.Clone(), Segment: make([]float64, c.N), Impulse: make([]float64, c.N),
		Mean: make([]complex128, c.Bins()), Density: make([]float64, c.Bins()), Power: make([]float64, len(c.Bands))}
	if len(c.Orders) > 0 {
		d.Harm = deconv.NewFFT(c.HarmN)
		d.HarmSeq = make([]float64, c.HarmN)
		d.HarmSpec = make([]complex128, d.Harm.Bins())
	}
	var err error
	d.Levels, err = deconv.NewBandPower(c.RateHz, len(c.Window), c.Bands)
	return d, err
}

// desks are those of a processor and its clones. Each holds one while it works
// on a recording and borrows what nobody else holds for a step that has several
// independent parts. So many recordings go side by side, the last ones and a
// single one use all cores, and there are never more desks than workers.
type desks chan *Desk

func newDesks(workers int) desks {
	d := make(desks, workers)
	for range workers {
		d <- nil // made when first used
	}
	return d
}

// Hold takes a desk, waiting for one, until the returned function is called.
func (p *Bench) Hold() (release func()) {
	p.Own = p.made(<-p.desks)
	return func() { p.desks <- p.Own }
}

func (p *Bench) made(d *Desk) *Desk {
	if d == nil {
		var err error
		if d, err = newDesk(p.Plan); err != nil {
			panic(err) // NewProcessor made one
		}
	}
	return d
}

// Share does the parts 0 to n−1 of a step, on all desks that are free. The parts must not
// depend on each other. n counts parts; 0 does nothing. It returns when all are done.
func (p *Bench) Share(n int, part func(d *Desk, i int)) {
	var next atomic.Int64
	work := func(d *Desk) {
		for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
			part(d, i)
		}
	}
	var group sync.WaitGroup
borrow:
	for range n - 1 {
		select {
		case d := <-p.desks:
			group.Go(func() {
				d = p.made(d)
				work(d)
				p.desks <- d
			})
		default:
			break borrow
		}
	}
	work(p.Own)
	group.Wait()
}
