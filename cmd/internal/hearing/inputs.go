package hearing

import (
	"fmt"
	"math"

	"asworn/capture/order"
)

// Limits of the tap test. Common practice, no source.
const (
	tapSeconds  = 0.01 // in which the power of a tap is taken
	tapOverDB   = 12.0 // above the usual level of the channel
	TapMarginDB = 6.0  // above the next channel
)

// Tapped finds the channel whose microphone was touched while all were
// recorded: the one whose loudest 10 ms stand out most from its own median, and
// clearly more than those of the next. Channels count from 1.
func Tapped(channels [][]float64, rateHz int) (channel int, err error) {
	block := max(1, int(tapSeconds*float64(rateHz)))
	best, next := math.Inf(-1), math.Inf(-1)
	for c, x := range channels {
		over := standsOut(x, block)
		if over > best {
			best, next, channel = over, best, c+1
		} else if over > next {
			next = over
		}
	}
	switch {
	case best < tapOverDB:
		return 0, fmt.Errorf("no channel heard a touch (the most was %.0f dB above its noise): touch the microphone itself, twice, while it listens", max(best, 0))
	case best-next < TapMarginDB:
		return 0, fmt.Errorf("two channels heard it about as loud (%.0f and %.0f dB above their noise): touch that microphone alone, more lightly", best, next)
	}
	return channel, nil
}

// standsOut is by how many decibels the loudest block of a channel lies above
// the median one.
func standsOut(x []float64, block int) float64 {
	var power []float64
	for at := 0; at+block <= len(x); at += block {
		sum := 0.0
		for _, v := range x[at : at+block] {
			sum += v * v
		}
		power = append(power, sum/float64(block))
	}
	if len(power) == 0 {
		return math.Inf(-1)
	}
	top := 0.0
	for _, p := range power {
		top = max(top, p)
	}
	const floor = 1e-14 // of a 24-bit converter; a silent input has no noise to stand out from
	return 10 * math.Log10((top+floor)/(order.Median(power)+floor))
}

// Inputs says on which inputs of the device the channels of the study are, each
// counted from 1; 0 for none.
type Inputs struct {
	Left     int `toml:"left"`
	Right    int `toml:"right"`
	Loopback int `toml:"loopback"`
}

// Input is one channel of the study and the input that it is on, from 1; 0 for none.
type Input struct {
	Channel string
	Number  int
}

// Each are the channels in the order in which the study has them.
func (in Inputs) Each() [3]Input {
	return [3]Input{{"left", in.Left}, {"right", in.Right}, {"loopback", in.Loopback}}
}

// Highest is the highest input that is used.
func (in Inputs) Highest() int { return max(in.Left, in.Right, in.Loopback) }

// Count is how many inputs are used.
func (in Inputs) Count() (n int) {
	for _, i := range in.Each() {
		if i.Number > 0 {
			n++
		}
	}
	return n
}

// Check says what is wrong with a map of inputs.
func (in Inputs) Check(want Inputs, inputs int) error {
	seen := map[int]string{}
	for i, c := range in.Each() {
		switch {
		case want.Each()[i].Number == 0:
			continue
		case c.Number < 1 || c.Number > inputs:
			return fmt.Errorf("no input is known for the %s channel, which the study asks for", c.Channel)
		case seen[c.Number] != "":
			return fmt.Errorf("the %s and the %s channel are both on input %d", seen[c.Number], c.Channel, c.Number)
		}
		seen[c.Number] = c.Channel
	}
	return nil
}
