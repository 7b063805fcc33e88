package capture

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"asworn/capture/locate"
	"asworn/capture/response"
	"asworn/capture/take"
	"asworn/capture/wavfile"
)

// spareSeconds is how much longer than the excitation a recording may be to be
// held in memory as a whole.
const spareSeconds = 60

// Process turns a recording into responses; see ProcessSamples. Only the channels of the
// setup are kept in memory, and of a recording much longer than the excitation only the
// part that holds it, so that memory does not grow with the file. Errors are those of the
// reader and those of ProcessSamples.
func (p *Processor) Process(r *wavfile.Reader) (response.Recording, error) {
	defer p.bench.Hold()()
	rate := float64(r.Format().RateHz)
	from, to := int64(0), r.Frames()
	excitation := int64(p.bench.Repeats*p.bench.Period) + int64(p.bench.RateHz)
	if chunk := 2*excitation + int64(spareSeconds*p.bench.RateHz); to > chunk && rate == p.bench.RateHz && p.fits(r) {
		var err error
		if from, to, err = p.search(r, chunk, excitation); err != nil {
			return response.Recording{}, err
		}
	} else if to > chunk {
		to = chunk // refused for sure: do not read it all
	}
	channels, err := p.input.read(r, p.bench.Channel, from, int(to-from))
	if err != nil {
		return response.Recording{}, err
	}
	return p.process(channels, rate)
}

// fits reports whether the recording has the channels of the setup.
func (p *Processor) fits(r *wavfile.Reader) bool {
	return slices.Max(p.bench.Channel[:]) < r.Format().Channels
}

// search goes through a long recording in chunks that overlap by the length of
// the excitation, and returns the part of it that holds the repeats.
func (p *Processor) search(r *wavfile.Reader, chunk, excitation int64) (from, to int64, err error) {
	best, most := int64(0), locate.Found{}
	for at := int64(0); at < r.Frames(); at += chunk - excitation {
		channels, err := p.input.read(r, p.bench.Channel, at, int(min(chunk, r.Frames()-at)))
		if err != nil {
			return 0, 0, err
		}
		look := [][]float64{}
		for role, ch := range p.bench.Channel {
			if ch >= 0 && (role == take.Loopback || p.bench.Channel[take.Loopback] < 0) {
				look = append(look, channels[ch])
			}
		}
		f := p.find.Locate(look...)
		if f.Clarity < locate.UnclearPattern {
			continue
		}
		if len(f.Start) > len(most.Start) || (len(f.Start) == len(most.Start) && f.Clarity > most.Clarity) {
			best, most = at, f
		}
		if len(f.Start) == p.bench.Repeats {
			break
		}
	}
	if len(most.Start) == 0 {
		return 0, min(chunk, r.Frames()), nil // its findings will say so
	}
	second := int64(p.bench.RateHz)
	from = best + int64(most.Start[0]) - (take.LeadSeconds+1)*second
	to = best + int64(most.Start[len(most.Start)-1]) + int64(p.bench.Period) + 2*second
	return max(0, from), min(to, r.Frames()), nil
}

// input holds the samples of one recording and is reused for the next.
type input struct {
	block [][]float64
	kept  [take.Roles][]float64
	out   [][]float64
}

const blockFrames = 1 << 14

// read returns n frames, one slice per channel of the file; those that the
// setup does not name are views of one that it does.
func (in *input) read(r *wavfile.Reader, channel [take.Roles]int, from int64, n int) ([][]float64, error) {
	if err := r.SeekFrame(from); err != nil {
		return nil, err
	}
	count := r.Format().Channels
	for len(in.block) < count {
		in.block = append(in.block, make([]float64, blockFrames))
	}
	for role, ch := range channel {
		if ch < 0 || ch >= count {
			in.kept[role] = in.kept[role][:0]
			continue
		}
		if cap(in.kept[role]) < n {
			in.kept[role] = make([]float64, n)
		}
		in.kept[role] = in.kept[role][:n]
	}
	into := make([][]float64, count)
	for at := 0; at < n; {
		size := min(blockFrames, n-at)
		for i := range into {
			into[i] = in.block[i][:size]
		}
		for role, ch := range channel {
			if ch >= 0 && ch < count {
				into[ch] = in.kept[role][at : at+size] // straight to where it stays
			}
		}
		got, err := r.Read(into)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		if got == 0 {
			return nil, fmt.Errorf("capture: the file ends after %d of %d frames: copy it again from the recorder", at, n)
		}
		at += got
	}
	in.out = in.out[:0]
	for range count {
		in.out = append(in.out, nil)
	}
	var any []float64
	for role, ch := range channel {
		if ch >= 0 && ch < count {
			in.out[ch] = in.kept[role]
			any = in.kept[role]
		}
	}
	for i, x := range in.out {
		if x == nil {
			in.out[i] = any
		}
	}
	return in.out, nil
}
