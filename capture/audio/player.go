package audio

import "sync/atomic"

// player hands out a signal buffer by buffer. It starts with a ramp, so that
// nothing begins with a jump, and when it is stopped it fades out and is silent
// before the next buffer ends.
type player struct {
	signal  []float32   // played on some outputs
	outputs int         // channels of a frame
	on      []bool      // outputs that play
	gain    float32     // over the signal
	ramp    int         // frames over which the gain rises at the beginning
	fade    int         // frames over which it falls when stopped
	stopped atomic.Bool // asked to be silent
	at      int         // frames handed out, silence after the end included
	faded   bool        // silent for good
}

// fill writes the next buffer. Frames beyond the signal are silent.
func (p *player) fill(out []float32) {
	clear(out)
	n := len(out) / p.outputs
	if p.faded {
		p.at += n
		return
	}
	stop := p.stopped.Load()
	fade := min(p.fade, n)
	for i := range n {
		k := p.at + i
		if k >= len(p.signal) || stop && i >= fade {
			break
		}
		g := p.gain
		if k < p.ramp {
			g *= float32(k+1) / float32(p.ramp)
		}
		if stop {
			g *= 1 - float32(i+1)/float32(fade)
		}
		for c, on := range p.on {
			if on {
				out[i*p.outputs+c] = g * p.signal[k]
			}
		}
	}
	p.at += n
	p.faded = stop
}
