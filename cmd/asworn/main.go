// Command asworn makes headphone measurements on a fixture count for the way
// people wear the headphones: it judges fixture seatings against worn ones.
package main

import (
	"context"
	"math"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"
)

// Up to floor bytes nothing is collected: most commands end before that. From there on
// the heap may grow by heapGrowth per cent of what is in use before it is collected: a
// quarter of Go's default costs a twentieth of the time of a first run and saves a
// hundred megabytes on the demo. GOGC or GOMEMLIMIT in the environment goes before both.
const (
	floor      = 64 << 20
	heapGrowth = 25
)

// collectLate sets that: the first collection, which the limit brings about, finds
// what nothing refers to.
func collectLate() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(floor)
	runtime.AddCleanup(new([64]byte), func(int) {
		debug.SetGCPercent(heapGrowth)
		debug.SetMemoryLimit(math.MaxInt64)
	}, 0)
}

func main() {
	if os.Getenv("GOGC") == "" && os.Getenv("GOMEMLIMIT") == "" {
		collectLate()
	}
	os.Exit(start())
}

// start runs the command line of this process and returns its exit code.
func start() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the process at once
	return execute(ctx, os.Args[1:], os.Stdout, os.Stderr)
}
