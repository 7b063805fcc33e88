package pipeline

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/simulate/demo"
)

// BenchmarkDemo times what a user of the whole demo study waits for: its first run, a run
// with nothing changed, one after one more recording, a check, and the report with its
// plot files, new and again (docs/developing/speed.md).
func BenchmarkDemo(b *testing.B) {
	ctx, dir := context.Background(), b.TempDir()
	if _, err := demo.Write(ctx, dir, demo.Options{Seed: 1, Listeners: 8, Seatings: 4, SurveySize: 13}); err != nil {
		b.Fatal(err)
	}
	run := func(b *testing.B, opt Options) Counts {
		_, counts, err := Run(ctx, dir, opt)
		if err != nil {
			b.Fatal(err)
		}
		return counts
	}
	b.Run("first run", func(b *testing.B) {
		for b.Loop() {
			if err := os.RemoveAll(filepath.Join(dir, "results")); err != nil {
				b.Fatal(err)
			}
			if c := run(b, Options{}); c.Cached > 0 {
				b.Fatal(c)
			}
		}
	})
	run(b, Options{})
	b.Run("nothing changed", func(b *testing.B) {
		for b.Loop() {
			if c := run(b, Options{}); c.Processed > 0 || c.Estimated {
				b.Fatal(c)
			}
		}
	})
	const name = "recordings/fixture_model-b_025_drum.wav"
	file := filepath.Join(dir, filepath.FromSlash(name))
	b.Run("one more recording", func(b *testing.B) { // an ordinary seating at the drum, read by two people
		for b.Loop() {
			b.StopTimer()
			sheet, readings := withoutRows(b, dir, capture.SheetFile, name), withoutRows(b, dir, study.ReadingsFile, "fixture,Model B,25,")
			if err := os.Rename(file, file+".away"); err != nil {
				b.Fatal(err)
			}
			run(b, Options{})
			if err := os.Rename(file+".away", file); err != nil {
				b.Fatal(err)
			}
			sheet()
			readings()
			b.StartTimer()
			if c := run(b, Options{}); c.Processed != 1 || c.Anew["panel"] > 0 {
				b.Fatal(c)
			}
		}
	})
	b.Run("check", func(b *testing.B) {
		for b.Loop() {
			study, err := OpenFrozen(dir)
			if err != nil {
				b.Fatal(err)
			}
			if _, err := study.Check(ctx, file, CheckOptions{Model: "Model B"}); err != nil {
				b.Fatal(err)
			}
		}
	})
	for _, anew := range []bool{true, false} {
		name := "report again"
		if anew {
			name = "report"
		}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if anew {
					if err := os.RemoveAll(filepath.Join(dir, "results", plotsDir)); err != nil {
						b.Fatal(err)
					}
				}
				if _, err := WriteReport(ctx, dir, ReportOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
