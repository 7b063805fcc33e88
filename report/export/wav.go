package export

import (
	"fmt"
	"math"

	"asworn/capture/wavfile"
)

// writeFilters writes one filter per channel, left and right or one alone, as
// a 32-bit float WAV file. Filters of one file share rate and kind; the
// shorter is filled up with zeros at its end.
func writeFilters(path string, filters ...Filter) error {
	channels := make([][]float64, len(filters))
	for i, f := range filters {
		if f.RateHz != filters[0].RateHz {
			return fmt.Errorf("%s: filters at %g Hz and %g Hz cannot share a file", path, filters[0].RateHz, f.RateHz)
		}
		if f.Delay != filters[0].Delay {
			return fmt.Errorf("%s: filters that delay by %g and %g samples would pull the channels apart", path, filters[0].Delay, f.Delay)
		}
		channels[i] = f.Taps
	}
	if len(filters) == 0 {
		return fmt.Errorf("%s: no filter to write", path)
	}
	return writeImpulses(path, filters[0].RateHz, channels...)
}

// writeImpulses writes impulse responses, one per channel, as a 32-bit float
// WAV file in their own unit: a response in Pa/V is not scaled to full scale
// and may lie beyond it. Shorter ones are filled up with zeros at their end.
func writeImpulses(path string, rateHz float64, channels ...[]float64) error {
	if rateHz != math.Trunc(rateHz) {
		return fmt.Errorf("%s: a WAV file holds a whole number of samples per second, not %g", path, rateHz)
	}
	longest := 0
	for _, c := range channels {
		longest = max(longest, len(c))
	}
	same := make([][]float64, len(channels))
	for i, c := range channels {
		same[i] = c
		if len(c) < longest {
			same[i] = append(c[:len(c):len(c)], make([]float64, longest-len(c))...)
		}
	}
	return wavfile.Write(path, wavfile.Format{RateHz: int(rateHz), Channels: len(channels), Bits: 32, Float: true}, same)
}
