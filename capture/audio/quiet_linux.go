//go:build soundcard && cgo

package audio

import (
	"os"
	"runtime/debug"
	"sync"

	"golang.org/x/sys/unix"
)

// hush keeps what the system's sound libraries print to stderr from a terminal that is
// being drawn on, until the returned function is called: ALSA and JACK print a line for
// each server or card that they miss, and what is missing is told by our own errors. A
// crash of this program is still printed. Where descriptors are short they print.
func hush() (speak func()) {
	stderr.Lock()
	defer stderr.Unlock()
	if stderr.calls++; stderr.calls == 1 {
		stderr.divert()
	}
	return func() {
		stderr.Lock()
		defer stderr.Unlock()
		if stderr.calls--; stderr.calls == 0 {
			stderr.restore()
		}
	}
}

// stderr is that of the process, which there is once; calls of several goroutines may
// overlap.
var stderr hushed

type hushed struct {
	sync.Mutex
	calls int
	real  *os.File // nil while nothing is diverted
}

func (s *hushed) divert() {
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return
	}
	defer null.Close()
	fd, err := unix.FcntlInt(2, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return
	}
	s.real = os.NewFile(uintptr(fd), "stderr")
	_ = debug.SetCrashOutput(s.real, debug.CrashOptions{})
	_ = unix.Dup3(int(null.Fd()), 2, 0)
}

func (s *hushed) restore() {
	if s.real == nil {
		return
	}
	_ = unix.Dup3(int(s.real.Fd()), 2, 0)
	_ = debug.SetCrashOutput(nil, debug.CrashOptions{})
	_ = s.real.Close()
	s.real = nil
}
