// Package capture turns recordings into responses: a Processor over the rooms
// below it, which hold the study (study), the excitation (sweep, excitation), the
// steps of the work (locate, take, clock, divide, levels), what can be found about
// a recording (finding, samples, check, compare) and what it becomes (response).
// It knows nothing of statistics over listeners, nor of output formats.
package capture

import (
	"asworn/capture/excitation"
	"asworn/capture/locate"
	"asworn/capture/study"
	"asworn/capture/take"
)

// Processor turns recordings into responses. It is built once from a Setup and
// keeps transform plans, the excitation's spectrum and buffers; one goroutine
// may use it at a time. Clone gives further ones, which share what is constant.
// A processor works on as many cores as its clones leave free; see SetWorkers.
type Processor struct {
	bench *take.Bench
	find  *locate.Locator
	input input
}

// NewProcessor checks the setup and prepares everything that recordings share. It fails
// on channels that name no ear or one twice, on a sweep or an excitation that cannot be
// played, on a microphone correction that cannot be used, and on a window that does not
// fit.
func NewProcessor(s study.Setup) (*Processor, error) {
	c, err := excitation.New(s)
	if err != nil {
		return nil, err
	}
	return &Processor{bench: take.NewBench(c), find: locate.New(c.Target())}, nil
}

// Clone returns a processor for another goroutine.
func (p *Processor) Clone() *Processor {
	return &Processor{bench: p.bench.Clone(), find: p.find.Clone()}
}

// SetWorkers sets how many goroutines may work at the same time for this processor and
// the clones that are made of it from now on, together; by default GOMAXPROCS. Results do
// not depend on it. Fewer than one count as one.
func (p *Processor) SetWorkers(n int) { p.bench.SetWorkers(n) }

// Setup returns what the processor was built from.
func (p *Processor) Setup() study.Setup { return p.bench.Setup }
