// Command asworn makes headphone measurements on a fixture count for the way
// people wear the headphones: it judges fixture seatings against worn ones.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"gonum.org/v1/gonum/blas/blas64"

	"asworn/fitcorr/blas"
)

// heapGrowth is how much the heap may grow, in per cent of what is in use, before it is
// collected: half of Go's default costs no measurable time here and saves a hundred
// megabytes on the demo. GOGC in the environment goes before it.
const heapGrowth = 50

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(heapGrowth)
	}
	blas64.Use(blas.Implementation{}) // the same bits as gonum's, sooner
	os.Exit(start())
}

// start runs the command line of this process and returns its exit code.
func start() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the process at once
	return execute(ctx, os.Args[1:], os.Stdout, os.Stderr)
}
