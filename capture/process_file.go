package capture

import (
	"errors"
	"fmt"
	"io"

	"asworn/capture/wavfile"
)

// maxMinutes bounds the recordings that are held in memory, one at a time.
const maxMinutes = 10

// Process reads a recording from its first frame on and turns it into
// responses; see ProcessSamples. Only the channels of the setup are kept.
func (p *Processor) Process(r *wavfile.Reader) (Recording, error) {
	format := r.Format()
	if limit := int64(maxMinutes * 60 * format.RateHz); r.Frames() > limit {
		return Recording{}, fmt.Errorf("capture: the recording is %.0f minutes long and the excitation %.0f s: cut it to the part that holds the excitation, at most %d minutes",
			float64(r.Frames())/float64(format.RateHz)/60, float64(p.repeats*p.period)/p.rate, maxMinutes)
	}
	if err := r.SeekFrame(0); err != nil {
		return Recording{}, err
	}
	channels, err := p.input.read(r, p.channel)
	if err != nil {
		return Recording{}, err
	}
	return p.ProcessSamples(channels, float64(format.RateHz))
}

// input holds the samples of one recording and is reused for the next.
type input struct {
	block [][]float64
	kept  [roles][]float64
	out   [][]float64
}

const blockFrames = 1 << 14

// read returns one slice per channel of the file; those that the setup does
// not name are views of one that it does.
func (in *input) read(r *wavfile.Reader, channel [roles]int) ([][]float64, error) {
	n, count := int(r.Frames()), r.Format().Channels
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
