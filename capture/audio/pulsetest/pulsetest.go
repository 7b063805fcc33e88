//go:build linux

// Package pulsetest runs a PulseAudio server of one's own for tests: no
// hardware, null sinks alone.
package pulsetest

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"
)

// Server is a running server.
type Server struct {
	Process *os.Process
	ended   chan struct{}
}

// Start runs a server with the given modules, which becomes the one that
// programs of this test find, and ends it with the test. Without PulseAudio the
// test is skipped, unless ASWORN_PULSE asks for it.
func Start(t *testing.T, modules ...string) *Server {
	t.Helper()
	exe, err := exec.LookPath("pulseaudio")
	if err != nil {
		if os.Getenv("ASWORN_PULSE") != "" {
			t.Fatal(err)
		}
		t.Skip("needs pulseaudio")
	}
	urgent()
	dir, err := os.MkdirTemp("", "pulse") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	socket := filepath.Join(dir, "native")
	args := []string{"-n", "--daemonize=no", "--exit-idle-time=-1", "--disable-shm=yes", "--log-level=error",
		"-L", "module-native-protocol-unix auth-anonymous=1 socket=" + socket}
	for _, m := range modules {
		args = append(args, "-L", m)
	}
	cmd := exec.Command(exe, args...)
	cmd.Env = append(os.Environ(), "HOME="+dir, "XDG_RUNTIME_DIR="+dir, "PULSE_RUNTIME_PATH="+dir)
	var log logger = t.Log
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &Server{cmd.Process, make(chan struct{})}
	go func() { defer close(s.ended); _ = cmd.Wait() }()
	t.Cleanup(s.Kill)
	t.Setenv("PULSE_SERVER", "unix:"+socket)
	t.Setenv("XDG_RUNTIME_DIR", dir)
	t.Setenv("HOME", dir)
	for range 200 { // 10 s
		if c, err := net.Dial("unix", socket); err == nil {
			c.Close()
			return s
		}
		select {
		case <-s.ended:
			t.Fatal("pulseaudio ended at once")
		case <-time.After(50 * time.Millisecond):
		}
	}
	t.Fatal("pulseaudio does not answer")
	return nil
}

// urgent has this process, and those that it starts from now on, go before others, as far
// as it may: as sound servers do, so that a busy machine loses no samples.
func urgent() {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return
	}
	for _, t := range threads {
		if id, err := strconv.Atoi(t.Name()); err == nil {
			_ = syscall.Setpriority(syscall.PRIO_PROCESS, id, -11) // which PulseAudio asks for
		}
	}
}

// Patient has programs of this test fill their buffers so far ahead that a machine that is
// busy with other tests loses few samples. What they record is the same; only a stop is
// heard as much later, which is a test of its own. The higher the rate the less far: a
// server waits until what it was promised is there, and takes some 100 kB to begin with.
func Patient(t *testing.T, rateHz float64) {
	t.Helper()
	t.Setenv("PULSE_LATENCY_MSEC", strconv.Itoa(int(300*48000/rateHz)))
}

// Kill ends the server at once and waits until it has gone.
func (s *Server) Kill() {
	_ = s.Process.Kill() // it may have ended
	<-s.ended
}

type logger func(...any)

func (l logger) Write(b []byte) (int, error) { l(string(b)); return len(b), nil }
