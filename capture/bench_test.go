package capture_test

import (
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	"asworn/capture"
	"asworn/capture/response"
	"asworn/capture/study"
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

func processFile(p *capture.Processor, path string) (response.Recording, error) {
	r, err := wavfile.Open(path)
	if err != nil {
		return response.Recording{}, err
	}
	defer r.Close()
	return p.Process(r)
}

// benchProcess runs work over the recording on all cores, count recordings per
// round.
func benchProcess(b *testing.B, count int, work func(*capture.Processor, string) (response.Recording, error)) {
	path := benchRecording(b)
	p, err := capture.NewProcessor(study.Setup{Sweep: benchDesign(), Left: 1, Right: 2, Loopback: 3})
	if err != nil {
		b.Fatal(err)
	}
	workers := []*capture.Processor{p}
	for len(workers) < min(count, runtime.GOMAXPROCS(0)) {
		workers = append(workers, p.Clone())
	}
	b.ReportAllocs()
	before := capture.CPUSeconds(b)
	for b.Loop() {
		todo := make(chan int, count)
		for i := range count {
			todo <- i
		}
		close(todo)
		var group sync.WaitGroup
		for _, q := range workers {
			group.Go(func() {
				for range todo {
					if rec, err := work(q, path); err != nil || rec.Used != 2 || !rec.Quality.Usable() {
						b.Error(err, rec.Quality)
					}
				}
			})
		}
		group.Wait()
	}
	n := float64(b.N * count)
	b.ReportMetric(b.Elapsed().Seconds()*1e3/n, "ms/recording")
	b.ReportMetric((capture.CPUSeconds(b)-before)*1e3/n, "cpu-ms/recording")
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/1e6, "MB-from-system")
}

// BenchmarkRecording processes one recording of 3 channels, 10 s, 48 kHz, from
// its file, on all cores, with all checks: what somebody waits for. With -cpu 1
// it is one core's work.
func BenchmarkRecording(b *testing.B) { benchProcess(b, 1, processFile) }

// BenchmarkResponses does the same work as testdata/scipy/speed.py, on all
// cores: responses without the checks of quality.
func BenchmarkResponses(b *testing.B) {
	benchProcess(b, 20, (*capture.Processor).MeasureFile)
}

// BenchmarkThousand processes 1,000 recordings on all cores with all checks.
func BenchmarkThousand(b *testing.B) { benchProcess(b, 1000, processFile) }
