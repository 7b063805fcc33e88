package audio

import (
	"sync"
	"time"
)

// pace finds where a driver fell behind: where fewer frames were asked for, or
// delivered, than its clock must have passed. A device's clock may be off by
// some hundred ppm and its calls come in bursts; slack is what is allowed before
// it counts, and the reckoning starts anew after each time, so that one gap
// counts once.
type pace struct {
	rate  float64 // frames per second
	slack float64 // frames

	mu     sync.Mutex
	since  time.Time
	frames float64 // since then
	total  int64
	behind int
}

// tick tells that n frames have passed at a time.
func (p *pace) tick(n int, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.total += int64(n)
	if p.since.IsZero() || float64(p.total-int64(n)) <= p.slack { // buffers are filled before the sound starts
		p.since, p.frames = now, 0
		return
	}
	p.frames += float64(n)
	due := now.Sub(p.since).Seconds() * p.rate
	switch lag := due - p.frames; {
	case lag > p.slack:
		p.behind++
		p.since, p.frames = now, 0
	case lag < 0: // ahead: buffers were filled
		p.since, p.frames = now, 0
	}
}

func (p *pace) counts() (total int64, behind int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.total, p.behind
}
