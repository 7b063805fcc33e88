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
	"runtime/metrics"
	"syscall"
)

// Up to first bytes nothing is collected: most commands end before that. From there on
// the heap may grow to floor, and by heapGrowth per cent of what is in use, before it is
// collected: a quarter of Go's default saves a hundred megabytes on the demo, and
// without a floor the analysis of a study, which holds little and asks for much, would
// be collected after each megabyte. GOGC or GOMEMLIMIT in the environment goes before all.
const (
	first      = 64 << 20
	floor      = 32 << 20
	heapGrowth = 25
)

// collectLate sets that: by a limit up to the first collection, and by what is in use
// after each, which is told by its finding what nothing refers to.
func collectLate() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(first)
	runtime.AddCleanup(new([64]byte), pace, 0)
}

// pace is called after a collection.
func pace(int) {
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	used := int(max(1, live[0].Value.Uint64()))
	debug.SetGCPercent(max(heapGrowth, 100*(floor-used)/used))
	debug.SetMemoryLimit(math.MaxInt64)
	runtime.AddCleanup(new([64]byte), pace, 0)
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
