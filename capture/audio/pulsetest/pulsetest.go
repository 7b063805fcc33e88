// Package pulsetest runs a PulseAudio server of one's own for tests: no
// hardware, null sinks alone.
package pulsetest

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
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

// Kill ends the server at once and waits until it has gone.
func (s *Server) Kill() {
	_ = s.Process.Kill() // it may have ended
	<-s.ended
}

type logger func(...any)

func (l logger) Write(b []byte) (int, error) { l(string(b)); return len(b), nil }
