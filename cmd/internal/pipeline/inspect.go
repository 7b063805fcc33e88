package pipeline

import (
	"context"
	"fmt"
	"slices"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/workers"
	"asworn/cmd/internal/respond"
)

// Inspection is what one recording shows by itself. Impulse responses are left
// out.
type Inspection struct {
	File       string            `json:"file"`
	Recording  capture.Recording `json:"recording"`
	Present    [2]bool           `json:"present"`     // ears that have a channel
	Calibrated bool              `json:"calibrated"`  // levels of the sweep are in dB SPL
	SNRDB      [2]float64        `json:"snr_db"`      // median over the bands that count, 0 when none does
	ValidBands [2]int            `json:"valid_bands"` // bands that count
}

// Inspect processes files by themselves, in their order, and keeps nothing. A file is taken
// to hold what holds says, nil for what its name tells.
func Inspect(ctx context.Context, setup capture.Setup, files []string, holds *study.Holds, jobs int, progress func(done, total int)) ([]Inspection, error) {
	first, err := capture.NewProcessor(setup)
	if err != nil {
		return nil, err
	}
	first.SetWorkers(jobs)
	out := make([]Inspection, len(files))
	err = workers.Each(ctx, len(files), jobs, progress, func(context.Context) func(int) error {
		own := first.Clone()
		return func(i int) error {
			if own == nil { // the last one failed
				own = first.Clone()
			}
			rec, err := respond.Process(&own, files[i], holdsOf(files[i], holds, study.HoldsRecording))
			if err != nil {
				return fmt.Errorf("%s: %w", files[i], err)
			}
			out[i] = inspection(files[i], setup, rec)
			return nil
		}
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// holdsOf tells what a file in no row holds: what is said of it; else curves, if it is a
// text by its name, or what is usual.
func holdsOf(file string, said *study.Holds, usual study.Holds) study.Holds {
	switch {
	case said != nil:
		return *said
	case study.TextFile(file):
		return study.HoldsCurve
	}
	return usual
}

func inspection(file string, setup capture.Setup, rec capture.Recording) Inspection {
	out := Inspection{File: file, Recording: rec, Present: [2]bool{setup.Left > 0, setup.Right > 0}, Calibrated: true}
	for e, r := range rec.Ears {
		if !out.Present[e] {
			continue
		}
		out.Calibrated = out.Calibrated && setup.Microphones[e].PaPerUnit > 0
		var snr []float64
		for i, ok := range r.Valid {
			if ok {
				snr = append(snr, r.LevelDB[i]-r.NoiseDB[i])
			}
		}
		out.ValidBands[e] = len(snr)
		if len(snr) > 0 {
			slices.Sort(snr)
			out.SNRDB[e] = snr[len(snr)/2]
		}
	}
	return out
}
