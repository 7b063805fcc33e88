package capture

import (
	"sync"
	"sync/atomic"

	"asworn/capture/deconv"
)

// desk is what one goroutine needs to work on a part of a recording: plans and
// buffers that nobody else uses meanwhile. Nothing on it is meant to last from
// one part to the next.
type desk struct {
	fft       *deconv.FFT
	levels    *deconv.BandPower
	harm      *deconv.FFT
	welch     *deconv.Welch // made when needed
	segment   []float64
	impulse   []float64
	mean      []complex128
	misfit    []complex128 // of the fit, where there is one
	density   []float64    // per bin
	power     []float64    // per band
	psd       []float64    // by Welch
	harmSeq   []float64
	harmSpec  []complex128
	harmPower []float64
}

func newDesk(c *constants) (*desk, error) {
	d := &desk{fft: c.fft.Clone(), segment: make([]float64, c.n), impulse: make([]float64, c.n),
		mean: make([]complex128, c.bins()), density: make([]float64, c.bins()), power: make([]float64, len(c.bands))}
	if len(c.orders) > 0 {
		d.harm = deconv.NewFFT(c.harmN)
		d.harmSeq = make([]float64, c.harmN)
		d.harmSpec = make([]complex128, d.harm.Bins())
		d.harmPower = make([]float64, d.harm.Bins())
	}
	var err error
	d.levels, err = deconv.NewBandPower(c.rate, len(c.window), c.bands)
	return d, err
}

// desks are those of a processor and its clones. Each holds one while it works
// on a recording and borrows what nobody else holds for a step that has several
// independent parts. So many recordings go side by side, the last ones and a
// single one use all cores, and there are never more desks than workers.
type desks chan *desk

func newDesks(workers int) desks {
	d := make(desks, workers)
	for range workers {
		d <- nil // made when first used
	}
	return d
}

// SetWorkers sets how many goroutines may work at the same time for this
// processor and the clones that are made of it from now on, together; by
// default GOMAXPROCS. Results do not depend on it.
func (p *Processor) SetWorkers(n int) { p.desks = newDesks(max(1, n)) }

// hold takes a desk, waiting for one, until the returned function is called.
func (p *Processor) hold() (release func()) {
	p.own = p.made(<-p.desks)
	return func() { p.desks <- p.own }
}

func (p *Processor) made(d *desk) *desk {
	if d == nil {
		var err error
		if d, err = newDesk(p.constants); err != nil {
			panic(err) // NewProcessor made one
		}
	}
	return d
}

// share does the parts 0 to n−1 of a step, on all desks that are free. The
// parts must not depend on each other.
func (p *Processor) share(n int, part func(d *desk, i int)) {
	var next atomic.Int64
	work := func(d *desk) {
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
	work(p.own)
	group.Wait()
}
