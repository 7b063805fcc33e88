package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"asworn/capture/study"
	"asworn/cmd/internal/bench"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/loopback"
	"asworn/cmd/internal/pipeline"
	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/page"
	"asworn/report/text"
	"asworn/report/view"
)

func serveCommand(c *console.Console) *cobra.Command {
	var model, fixture string
	var opt loopback.Options
	cmd := &cobra.Command{
		Use:   "serve DIR",
		Short: "Show the last seating's verdict in large letters while you record at the fixture",
		Long: `Serves a page on this machine's loopback address only, for use at the fixture:
the verdict of the seating that was recorded last, large enough to read from two
metres. When a recording lands in the study folder it is judged at once; when it
is a row of seatings.csv, the whole study is run again behind it. Rows that are
not recorded yet are left out. End with Ctrl-C.`,
		Example: `  asworn serve my-study --open
  asworn serve my-study --model "Model A" --port 8090`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := opt.Check(); err != nil {
				return err
			}
			address, err := console.Fixture(args[0], fixture, nil)
			if err != nil {
				return err
			}
			return serveStudy(cmd.Context(), c, address, model, opt)
		},
	}
	cmd.ValidArgsFunction = console.Folders
	cmd.Flags().StringVar(&model, "model", "", "headphone model of recordings that are in no row of the sheet")
	console.CompleteModels(cmd, "model")
	cmd.Flags().StringVar(&fixture, "fixture", "", "which fixture, of a study that declares several (DIR@NAME says the same)")
	opt.Flags(cmd.Flags())
	return cmd
}

func serveStudy(ctx context.Context, c *console.Console, dir, model string, opt loopback.Options) error {
	st, err := study.LoadPartial(dir)
	if err != nil {
		return err
	}
	watch := pipeline.NewWatch(dir, model, pipeline.Options{Jobs: c.Jobs}, func(err error) { console.PrintError(c.Err, err) })
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	followed := make(chan struct{})
	go func() {
		defer close(followed)
		watch.Follow(ctx, 500*time.Millisecond)
	}()
	if st.HasListeners() {
		c.Reminder(st.Dir)
	}
	c.Note("watching %s", dir)
	err = loopback.Serve(ctx, c, page.Live{Latest: watch.Latest, Desk: func() page.Desk { return watchedDesk(watch) }}.Handler(), opt)
	stop()
	<-followed
	return err
}

// watchedDesk is what the view shows of a study that is recorded elsewhere.
func watchedDesk(w *pipeline.Watch) page.Desk {
	d := page.Desk{Judging: w.Judging(), Meters: []page.Meter{}, History: []page.Take{}, Buttons: []page.Button{}}
	rows, of := w.Left()
	if len(rows) > 0 {
		d.Next = fmt.Sprintf("Next, row %d of %d: %s", rows[0].Row-1, of, bench.Words(rows[0]))
		d.Left = text.Plural(len(rows), "row") + " left"
	}
	r, last, err := w.Latest()
	if err != nil {
		return d
	}
	d.ToleranceMM = r.Options.MaxOffsetMM
	d.History = history(r, last)
	return d
}

// history is where the fixture seatings of the model that came last sit, the
// last one at the end.
func history(r report.Results, last string) []page.Take {
	out := []page.Take{}
	at := slices.IndexFunc(r.Analysis.Models, func(m fitcorr.ModelAnalysis) bool {
		return slices.ContainsFunc(m.Verdicts, func(v fitcorr.Verdict) bool { return v.ID == last })
	})
	if at < 0 {
		return out
	}
	shown := view.New(r)
	var newest page.Take
	for _, v := range r.Analysis.Models[at].Verdicts {
		s, off := shown.State(v.ID), v.Headset.Off
		t := page.Take{File: v.ID, Title: s.Seating, Word: s.Word, Tone: s.Tone.String(), Do: []string{}, More: []string{},
			ForwardMM: off.Value[0], UpMM: off.Value[1], Placed: off.Seen[0] && off.Seen[1]}
		if v.ID == last {
			newest = t
			continue
		}
		out = append(out, t)
	}
	return append(out, newest)
}
