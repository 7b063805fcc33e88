package capture

import (
	"syscall"
	"testing"

	"asworn/capture/response"
	"asworn/capture/take"
	"asworn/capture/wavfile"
)

// MeasureFile reads a recording and makes its responses, without the checks of
// its quality: what testdata/scipy/speed.py does, and the standard errors,
// noise, drift and harmonics beside.
func (p *Processor) MeasureFile(path string) (response.Recording, error) {
	r, err := wavfile.Open(path)
	if err != nil {
		return response.Recording{}, err
	}
	defer r.Close()
	defer p.bench.Hold()()
	channels, err := p.input.read(r, p.bench.Channel, 0, int(r.Frames()))
	if err != nil {
		return response.Recording{}, err
	}
	rec := response.Recording{LevelUnit: p.bench.Setup.LevelUnit()}
	for e := range rec.Ears {
		rec.Ears[e] = p.bench.EmptyResponse()
	}
	t := take.New(p.bench, &rec, channels)
	p.locate(t)
	measure(t)
	return rec, nil
}

// CPUSeconds is the processor time of this process, which does not change with
// what else the machine is doing.
func CPUSeconds(tb testing.TB) float64 {
	tb.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		tb.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
