//go:build unix

package pipeline

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"asworn/report/page"
)

// hostile makes what is no recording of a recording: n counts the kinds.
func hostile(r *rand.Rand, good []byte, n int) []byte {
	b := bytes.Clone(good)
	put := func(at int, v uint32) { binary.LittleEndian.PutUint32(b[at:], v) }
	switch n % 10 {
	case 0: // bits of the head
		for range 1 + r.IntN(6) {
			b[r.IntN(100)] ^= 1 << r.IntN(8)
		}
	case 1: // bits anywhere
		for range 1 + r.IntN(2000) {
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
		}
	case 2:
		b = b[:r.IntN(len(b))]
	case 3: // sizes and rates from nothing to all there is
		put(4*r.IntN(20), []uint32{0, 1, 0x7fffffff, 0x80000000, 0xffffffff, 0xfffffff0}[r.IntN(6)])
	case 4: // floating point numbers that are none, or no samples
		binary.LittleEndian.PutUint16(b[20:], 3)
		binary.LittleEndian.PutUint16(b[34:], 32)
		binary.LittleEndian.PutUint16(b[32:], uint16(4*binary.LittleEndian.Uint16(b[22:])))
		for range 1 + r.IntN(50) {
			put(44+4*r.IntN((len(b)-48)/4), math.Float32bits([]float32{float32(math.NaN()), float32(math.Inf(1)), 1e38, -1e30, 1e-45}[r.IntN(5)]))
		}
	case 5:
		b = make([]byte, r.IntN(5000))
		for i := range b {
			b[i] = byte(r.Uint32())
		}
	case 6:
		b = nil
	case 7: // silence from somewhere to somewhere
		from := 100 + r.IntN(len(b)-200)
		clear(b[from : from+r.IntN(len(b)-from)])
	case 8: // pieces that have changed places
		for range 5 {
			size := 1 + r.IntN(len(b)/4)
			copy(b[100+r.IntN(len(b)-100-size):], good[100+r.IntN(len(b)-100-size):][:size])
		}
	case 9: // every sample at full scale
		for i := 100; i < len(b); i++ {
			b[i] = []byte{0x00, 0x7f, 0x80, 0xff}[r.IntN(4)]
		}
	}
	return b
}

// TestSoak drops hostile files beside the live view (with ASWORN_LONG a thousand), a
// pipe, a folder and an endless device among them. The page answers all the while,
// every file is judged, and the good recording that comes last gets its verdict.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	files := 40
	if os.Getenv("ASWORN_LONG") != "" {
		files = 1000
	}
	dir := copyStudy(t)
	good, err := os.ReadFile(filepath.Join(dir, "recordings", "fixture_model-a_023_drum.wav"))
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), 30*time.Minute)
	defer stop()
	told := make(chan error, 1)
	w := NewWatch(dir, "Model A", Options{}, func(err error) {
		select {
		case told <- err:
		default:
		}
	})
	done := make(chan struct{})
	go func() { defer close(done); w.Follow(ctx, 10*time.Millisecond) }()
	server := httptest.NewServer(page.Live{Latest: w.Latest}.Handler())
	defer server.Close()
	answers := 0
	get := func(path string) {
		t.Helper()
		resp, err := http.Get(server.URL + path)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		if _, err := io.Copy(io.Discard, resp.Body); err != nil || resp.StatusCode != http.StatusOK {
			t.Fatalf("%s: status %d, %v", path, resp.StatusCode, err)
		}
		answers++
	}
	put := func(name string, content []byte) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, "recordings", name), content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	// await returns how many recordings are shown once that of the name is the last.
	await := func(name string) (shown map[string]bool, verdict bool) {
		t.Helper()
		for {
			r, last, err := w.Latest()
			if err == nil && last == "recordings/"+name {
				shown = map[string]bool{}
				for _, rec := range r.Recordings {
					shown[rec.File] = true
				}
				for _, m := range r.Analysis.Models {
					for _, v := range m.Verdicts {
						verdict = verdict || v.ID == last
					}
				}
				get("/report")
				return shown, verdict
			}
			get("/state")
			get("/")
			select {
			case <-ctx.Done():
				t.Fatalf("%s is not judged; the last is %q, %v", name, last, err)
			case <-time.After(20 * time.Millisecond):
			}
		}
	}
	for { // what lies there at the first look is not new: nothing is dropped before it
		if r, _, err := w.Latest(); err == nil && len(r.Recordings) > 0 {
			break
		}
		select {
		case <-ctx.Done():
			t.Fatal("the study was not run")
		case <-time.After(20 * time.Millisecond):
		}
	}
	put("good-1.wav", again(good, 1))
	if _, ok := await("good-1.wav"); !ok {
		t.Fatal("no verdict before anything was dropped")
	}
	r := rand.New(rand.NewPCG(17, 3))
	for n := range files {
		put(fmt.Sprintf("hostile-%04d.wav", n), hostile(r, good, n))
	}
	recordings := filepath.Join(dir, "recordings")
	if err := errors.Join(syscall.Mkfifo(filepath.Join(recordings, "pipe.wav"), 0o666), os.Mkdir(filepath.Join(recordings, "folder.wav"), 0o777),
		os.Symlink("/dev/zero", filepath.Join(recordings, "zero.wav"))); err != nil {
		t.Fatal(err)
	}
	for { // the last of them is no file: an error that names it
		_, _, err := w.Latest()
		if err != nil && strings.Contains(err.Error(), "zero.wav") {
			break
		}
		get("/state")
		select {
		case <-ctx.Done():
			t.Fatalf("zero.wav is not named: %v", err)
		case <-time.After(20 * time.Millisecond):
		}
	}
	put("zz-good.wav", again(good, 2))
	shown, ok := await("zz-good.wav")
	if !ok {
		t.Error("no verdict of the good recording that came last")
	}
	for n := range files {
		if name := fmt.Sprintf("recordings/hostile-%04d.wav", n); !shown[name] {
			t.Errorf("%s is not shown", name)
		}
	}
	stop()
	<-done
	select {
	case err := <-told:
		t.Logf("told on the way: %v", err)
	default:
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	t.Logf("%d hostile files, %d answers, %d MB of memory from the system", files, answers, m.Sys>>20)
	if m.Sys > 3<<30 {
		t.Error("more than 3 GB of memory")
	}
}
