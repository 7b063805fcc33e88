package workers

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync/atomic"
	"testing"
)

func TestEach(t *testing.T) {
	for _, jobs := range []int{0, 1, 3, 50} {
		var begun atomic.Int64
		calls := make([]int, 20)
		var heard []int
		err := Each(t.Context(), len(calls), jobs, func(done, total int) {
			if total != len(calls) {
				t.Errorf("of %d", total)
			}
			heard = append(heard, done)
		}, func(context.Context) func(int) error {
			begun.Add(1)
			return func(i int) error { calls[i]++; return nil }
		})
		if err != nil {
			t.Fatal(err)
		}
		for i, n := range calls {
			if n != 1 || heard[i] != i+1 {
				t.Errorf("%d jobs: piece %d was done %d times, heard as %d", jobs, i, n, heard[i])
			}
		}
		if jobs > 0 && int(begun.Load()) != min(jobs, len(calls)) {
			t.Errorf("%d jobs: %d began", jobs, begun.Load())
		}
	}
}

// The first error, or the end of the context, ends the work.
func TestEachEnds(t *testing.T) {
	for _, jobs := range []int{1, 4} {
		var calls atomic.Int64
		err := Each(t.Context(), 1000, jobs, nil, func(ctx context.Context) func(int) error {
			return func(i int) error {
				calls.Add(1)
				if i == 5 {
					return io.ErrUnexpectedEOF
				}
				if i > 5 {
					<-ctx.Done()
				}
				return nil
			}
		})
		if !errors.Is(err, io.ErrUnexpectedEOF) || calls.Load() > 6+int64(jobs) {
			t.Errorf("%d jobs: %v after %d calls", jobs, err, calls.Load())
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err := Each(ctx, 3, 2, nil, func(context.Context) func(int) error {
		return func(i int) error { t.Errorf("piece %d was begun", i); return nil }
	})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if err := Each(t.Context(), 0, 2, nil, nil); err != nil {
		t.Error(err)
	}
}

// A panic comes to the caller, with the place where it was raised, and ends the work.
func TestAllPanics(t *testing.T) {
	defer func() {
		if got := fmt.Sprint(recover()); !strings.Contains(got, "piece 2") || !strings.Contains(got, "workers_test.go:") {
			t.Errorf("recovered %q", got)
		}
	}()
	err := All(t.Context(), 100, 2, func(i int) {
		if i == 2 {
			panic("piece 2")
		}
	})
	t.Errorf("returned %v", err)
}

func TestAllEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := All(ctx, 3, 2, func(i int) { t.Errorf("piece %d was begun", i) }); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
