package bench

import (
	"context"
	"fmt"
	"math"
	"slices"

	"asworn/cmd/internal/hearing"
)

// tapListen is how long the tap test listens, in seconds.
const tapListen = 4

// Tap listens, without a sound, and returns the input that was touched.
func (s *Sound) Tap(ctx context.Context) (input int, err error) {
	got, err := s.record(ctx, nil, LowGainDB, nil, tapListen)
	if err == nil && got.Stopped {
		err = ctx.Err()
	}
	if err != nil {
		return 0, err
	}
	return hearing.Tapped(got.Samples, got.RateHz)
}

// PlaySide plays the sweep, low, on one output alone and returns the input that
// hears it. The caller has had it confirmed that nobody wears the headphone.
func (s *Sound) PlaySide(ctx context.Context, output int, not ...int) (input int, err error) {
	got, err := s.record(ctx, s.one, min(LowGainDB, s.know().GainDB), []int{output}, s.arrival.recorded(s.one, longestArrival))
	if err == nil && got.Stopped {
		err = ctx.Err()
	}
	if err != nil {
		return 0, err
	}
	best, next := math.Inf(-1), math.Inf(-1)
	for c, x := range got.Samples {
		h, err := hearing.Hear(s.one, x, float64(got.RateHz), float64(len(s.one))/float64(got.RateHz), 0)
		if err != nil {
			return 0, err
		}
		switch {
		case slices.Contains(not, c+1) || !h.Arrived:
		case h.DB > best:
			best, next, input = h.DB, best, c+1
		case h.DB > next:
			next = h.DB
		}
	}
	switch {
	case input == 0:
		return 0, fmt.Errorf("no input hears output %d: check amplifier and plugs, or raise the gain", output)
	case best-next < hearing.TapMarginDB:
		return 0, fmt.Errorf("two inputs hear output %d about as loud: touch the microphones instead", output)
	}
	return input, nil
}
