package audio

import (
	"math"
	"sync"
	"time"
)

// pace finds where a driver lost time: where, from a moment on, it stays behind
// the frames that its clock must have passed. One that is late and catches up
// lost nothing: what counts is the least lag within a window. The reckoning
// follows each window, so that a clock that is some hundred ppm off is no loss
// and one gap counts once.
type pace struct {
	rate  float64 // frames per second
	slack float64 // frames that it may stay behind by

	mu     sync.Mutex
	since  time.Time // of the reckoning
	frames float64   // since then
	calm   float64   // frames since buffers were filled in advance
	low    float64   // the least lag in this window
	until  time.Time // where the window ends
	total  int64
	behind int
}

// slackBuffers is by how many buffers a device may stay behind its clock before
// that counts as lost. Common practice, no source; less shows in the sweep.
const slackBuffers = 2.5

// How long a window is, and how long a stream that fills its buffers is given to
// begin. Common practice, no source.
const (
	paceWindow  = 250 * time.Millisecond
	calmSeconds = 0.5
)

// tick tells that n frames have passed at a time.
func (p *pace) tick(n int, now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.total += int64(n)
	if p.since.IsZero() {
		p.reckon(now)
		p.until = now.Add(paceWindow)
		return
	}
	p.frames += float64(n)
	p.calm += float64(n)
	lag := now.Sub(p.since).Seconds()*p.rate - p.frames
	if lag < -0.9*float64(n) { // asked twice at once: buffers are being filled
		p.calm = 0
	}
	if lag < 0 {
		p.reckon(now)
		return
	}
	p.low = math.Min(p.low, lag)
	if now.Before(p.until) {
		return
	}
	if p.low > p.slack && p.calm > calmSeconds*p.rate {
		p.behind++
	}
	p.frames += p.low
	p.low, p.until = math.Inf(1), now.Add(paceWindow)
}

// reckon starts anew.
func (p *pace) reckon(now time.Time) { p.since, p.frames, p.low = now, 0, 0 }

func (p *pace) counts() (total int64, behind int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.total, p.behind
}
