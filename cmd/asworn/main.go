// Command asworn makes headphone measurements on a fixture count for the way
// people wear the headphones: it judges fixture seatings against worn ones.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"syscall"
)

// Up to floor bytes nothing is collected: most commands end before that, and the
// analysis of a study, which holds little and asks for much, would else be collected
// after each megabyte. Beyond, the heap may grow by heapGrowth per cent of what is in
// use: a quarter of Go's default saves a hundred megabytes on the demo. Above usual
// bytes, or half as much again as is in use, memory goes back to the system at once. GOGC or
// GOMEMLIMIT in the environment goes before all.
const (
	floor      = 64 << 20
	heapGrowth = 25
	usual      = 104 << 20
)

// collectLate sets that: for the first collection by a limit, after it and each other,
// of which it hears by its finding what nothing refers to, by what is in use then.
func collectLate() {
	debug.SetGCPercent(-1)
	debug.SetMemoryLimit(floor)
	runtime.AddCleanup(new([64]byte), pace, 0)
}

// pace is called after a collection.
func pace(int) {
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	used := int(max(1, live[0].Value.Uint64()))
	debug.SetGCPercent(max(heapGrowth, 100*(floor-used)/used))
	debug.SetMemoryLimit(int64(max(usual, used+used/2)))
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
