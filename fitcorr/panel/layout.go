package panel

import (
	"asworn/fitcorr/position"
	"asworn/fitcorr/survey"
)

// layout says where in a listener's vector what stands (package comment). m counts
// models, k blocks: models, then the bare ears; e is the ear.
type layout struct {
	bands  survey.Bands
	models int  // how many there are
	bare   bool // the study has bare-ear references: one block more
	read   bool // positions were read on heads: landmarks, and rows of readings
}

// width is how many blocks there are.
func (l layout) width() int {
	if l.bare {
		return l.models + 1
	}
	return l.models
}

// block is the length of a model's block.
func (l layout) block() int {
	b := 2*l.bands.N + 2*position.HeadsetDim
	if l.read {
		b += position.ReadDim
	}
	return b
}

// rows is the length of one worn seating's observation z: both ears' bands,
// then the read position, forward and up, where the study has readings.
func (l layout) rows() int {
	if l.read {
		return 2*l.bands.N + position.ReadDim
	}
	return 2 * l.bands.N
}

// dim is the length of a listener's vector.
func (l layout) dim() int {
	d := l.models * l.block()
	if l.bare {
		d += 2 * l.bands.N
	}
	return d
}

// channel is where ear e of block k begins.
func (l layout) channel(e, k int) int { return k*l.block() + e*l.bands.N }

// position is where the apparent headset position of model m begins.
func (l layout) position(m int) int { return m*l.block() + 2*l.bands.N }

// confounded is where the part of it begins that is a difference of ears.
func (l layout) confounded(m int) int { return l.position(m) + position.HeadsetDim }

// landmark is where the error of the landmark on that head begins.
func (l layout) landmark(m int) int { return l.confounded(m) + position.HeadsetDim }
