package capture_test

import (
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"syscall"
	"testing"

	"asworn/capture"
	"asworn/capture/sweep"
	"asworn/capture/wavfile"
)

// benchDesign makes a recording of 10 s.
func benchDesign() sweep.Design {
	d := sweep.Default()
	d.Seconds = 3.5
	return d
}

// benchRecording writes a recording of 3 channels, 10 s, 48 kHz, 24 bits, into
// a folder of the test, or into the folder that ASWORN_BENCH names, where
// testdata/scipy/speed.py can read it too.
func benchRecording(tb testing.TB) string {
	tb.Helper()
	dir := os.Getenv("ASWORN_BENCH")
	if dir == "" {
		dir = tb.TempDir()
	}
	x := make([]float64, 480000)
	copy(x[9600:], benchDesign().Signal())
	for i := range x {
		x[i] *= 0.3
	}
	l, r := earFilters[0].run(x), earFilters[1].run(x)
	noise(l, 1e-5, 1)
	noise(r, 1e-5, 2)
	path := filepath.Join(dir, "bench.wav")
	if err := wavfile.Write(path, wavfile.Format{RateHz: 48000, Channels: 3, Bits: 24}, [][]float64{l, r, x}); err != nil {
		tb.Fatal(err)
	}
	return path
}

func processFile(p *capture.Processor, path string) (capture.Recording, error) {
	r, err := wavfile.Open(path)
	if err != nil {
		return capture.Recording{}, err
	}
	defer r.Close()
	return p.Process(r)
}

// BenchmarkRecording processes one recording of 3 channels, 10 s, 48 kHz, from
// its file, on one core.
func BenchmarkRecording(b *testing.B) {
	path := benchRecording(b)
	p, err := capture.NewProcessor(capture.Setup{Sweep: benchDesign(), Left: 1, Right: 2, Loopback: 3})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	before := cpuSeconds()
	for b.Loop() {
		rec, err := processFile(p, path)
		if err != nil || !rec.Quality.Usable() {
			b.Fatal(err, rec.Quality)
		}
	}
	b.ReportMetric((cpuSeconds()-before)/float64(b.N)*1e3, "cpu-ms/op")
}

// cpuSeconds is the processor time of this process, which does not change with
// what else the machine is doing.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

// BenchmarkThousand processes 1,000 recordings on all cores and reports the
// largest memory the process had from the system.
func BenchmarkThousand(b *testing.B) {
	path := benchRecording(b)
	p, err := capture.NewProcessor(capture.Setup{Sweep: benchDesign(), Left: 1, Right: 2, Loopback: 3})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		work := make(chan int)
		var group sync.WaitGroup
		for range runtime.GOMAXPROCS(0) {
			q := p.Clone()
			group.Go(func() {
				for range work {
					if rec, err := processFile(q, path); err != nil || rec.Used != 2 {
						b.Error(err, rec.Quality)
					}
				}
			})
		}
		for i := range 1000 {
			work <- i
		}
		close(work)
		group.Wait()
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/1e6, "MB-system")
}
