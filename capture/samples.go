package capture

import (
	"fmt"
	"slices"

	"asworn/capture/check"
	"asworn/capture/clock"
	"asworn/capture/divide"
	"asworn/capture/finding"
	"asworn/capture/levels"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/take"
)

// ProcessSamples turns one recording into responses. channels holds the recording's
// channels, full scale 1; it is only read. An error says that the recording does not fit
// the setup (channels, length); whatever else is wrong with it is a finding in
// Recording.Quality, and a recording with a refusal has no valid band. channels are in
// the order of the file, one slice each, all of one length; rateHz is the rate of the
// recording in Hz, and another one than the setup's is a finding.
func (p *Processor) ProcessSamples(channels [][]float64, rateHz float64) (response.Recording, error) {
	defer p.bench.Hold()()
	return p.process(channels, rateHz)
}

func (p *Processor) process(channels [][]float64, rateHz float64) (response.Recording, error) {
	rec := response.Recording{LevelUnit: p.bench.Setup.LevelUnit()}
	for e := range rec.Ears {
		rec.Ears[e] = p.bench.EmptyResponse()
	}
	for i, ch := range p.bench.Channel {
		if ch >= len(channels) {
			return rec, fmt.Errorf("capture: the recording has %d channels and the %s is to be channel %d: correct the channel numbers of the study, or record again",
				len(channels), take.ChannelNames[i], ch+1)
		}
	}
	total := len(channels[0])
	for i, x := range channels {
		if len(x) != total {
			return rec, fmt.Errorf("capture: channel %d has %d samples, channel 1 has %d", i+1, len(x), total)
		}
	}
	if total == 0 {
		return rec, fmt.Errorf("capture: the recording is empty: record again")
	}
	t := take.New(p.bench, &rec, channels)
	if rateHz != p.bench.RateHz {
		p.locate(t)
		check.RefuseRate(t, rateHz)
		return rec, nil
	}
	p.run(t)
	return rec, nil
}

// run does everything there is to do with one recording.
func (p *Processor) run(t *take.Take) {
	var found [take.Roles][]finding.Finding
	p.bench.Share(1+take.Roles, func(_ *take.Desk, i int) {
		if i == 0 {
			p.locate(t)
		} else {
			found[i-1] = check.Samples(t, i-1)
		}
	})
	t.Add(slices.Concat(found[:]...)...)
	if !check.Found(t) {
		return
	}
	measure(t)
	check.Responses(t)
}

// locate finds the repeats, in the loopback when there is one.
func (p *Processor) locate(t *take.Take) {
	if x := t.X[take.Loopback]; x != nil {
		t.Found = p.find.Locate(x)
	} else {
		t.Found = p.find.Locate(t.Ears()...)
	}
	t.Trace = p.find.Clarity()
	t.Rec.Repeats = len(t.Found.Start)
}

// measure makes the responses from the repeats that were found.
func measure(t *take.Take) {
	t.Place()
	t.Transform()
	clock.Align(t)
	clock.Single(t)
	divide.Repeats(t)
	t.Bench.Share(1+len(t.Rec.Ears), func(d *take.Desk, i int) {
		if i == 0 {
			divide.Weigh(t, d)
		} else {
			levels.AverageInverse(t, d, study.Ear(i-1))
		}
	})
	t.Bench.Share(len(t.Rec.Ears), func(d *take.Desk, e int) {
		if t.X[e] != nil {
			levels.Respond(t, d, study.Ear(e))
		}
	})
}
