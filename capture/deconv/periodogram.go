package deconv

// Periodogram gives the power spectra of frames of one length under one window. It keeps
// its plan and buffers and is not safe for use by several goroutines.
type Periodogram struct {
	fft    *FFT
	window []float64
	seq    []float64
	spec   []complex128
}

// NewPeriodogram returns one for frames as long as the window, which is kept. It panics as
// NewFFT does.
func NewPeriodogram(window []float64) *Periodogram {
	p := &Periodogram{fft: NewFFT(len(window)), window: window, seq: make([]float64, len(window))}
	p.spec = make([]complex128, p.fft.Bins())
	return p
}

// Size returns the length of a frame. It is in samples.
func (p *Periodogram) Size() int { return len(p.window) }

// Window returns the window. It is not to be written to.
func (p *Periodogram) Window() []float64 { return p.window }

// Power writes |X(k)|² of a frame of Size samples, less offset and under the window, to dst
// of length Size/2+1, in the frame's unit squared.
func (p *Periodogram) Power(dst, frame []float64, offset float64) {
	frame, seq := frame[:len(p.window)], p.seq[:len(p.window)]
	for i, w := range p.window {
		seq[i] = w * (frame[i] - offset)
	}
	p.fft.Forward(p.spec, seq)
	dst = dst[:len(p.spec)]
	for k, v := range p.spec {
		dst[k] = real(v)*real(v) + imag(v)*imag(v)
	}
}
