package panel

import (
	"asworn/fitcorr/position"
)

// Indices into a listener's vector (package comment: layout). m counts models, k
// blocks: models, then the bare ears; e is the ear.

// block is the length of a model's block.
func (p *panel) block() int {
	b := 2*p.bands.N + 2*position.HeadsetDim
	if p.read {
		b += position.ReadDim
	}
	return b
}

// rows is the length of one worn seating's observation z: both ears' bands,
// then the read position, forward and up, where the study has readings.
func (p *panel) rows() int {
	if p.read {
		return 2*p.bands.N + position.ReadDim
	}
	return 2 * p.bands.N
}

// dim is the length of a listener's vector.
func (p *panel) dim() int {
	d := len(p.models) * p.block()
	if p.bare {
		d += 2 * p.bands.N
	}
	return d
}

// channel is where ear e of block k begins.
func (p *panel) channel(e, k int) int { return k*p.block() + e*p.bands.N }

// position is where the apparent headset position of model m begins.
func (p *panel) position(m int) int { return m*p.block() + 2*p.bands.N }

// confounded is where the part of it begins that is a difference of ears.
func (p *panel) confounded(m int) int { return p.position(m) + position.HeadsetDim }

// landmark is where the error of the landmark on that head begins.
func (p *panel) landmark(m int) int { return p.confounded(m) + position.HeadsetDim }
