package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/pipeline"
	"asworn/report/page"
)

func serveCommand(a *app) *cobra.Command {
	var model string
	var port int
	var open bool
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
			if port < 0 || port > 65535 {
				return usagef("--port %d: want 0 to 65535", port)
			}
			return serveStudy(cmd.Context(), a, args[0], model, port, open)
		},
	}
	cmd.ValidArgsFunction = folders
	cmd.Flags().StringVar(&model, "model", "", "headphone model of recordings that are in no row of the sheet")
	completeModels(cmd, "model")
	cmd.Flags().IntVar(&port, "port", 0, "port on the loopback address, 0 for a free one")
	cmd.Flags().BoolVar(&open, "open", false, "open the page in the browser")
	return cmd
}

func serveStudy(ctx context.Context, a *app, dir, model string, port int, open bool) error {
	study, err := study.LoadPartial(dir)
	if err != nil {
		return err
	}
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(port)))
	if err != nil {
		return fmt.Errorf("the page cannot be served: %w; name another --port", err)
	}
	address := "http://" + listener.Addr().String() + "/"
	watch := pipeline.NewWatch(dir, model, pipeline.Options{Jobs: a.jobs}, func(err error) { printError(a.err, err) })
	server := &http.Server{Handler: page.LiveHandler(watch.Latest), ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 30 * time.Second, MaxHeaderBytes: 16 << 10}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	followed := make(chan struct{})
	go func() {
		defer close(followed)
		watch.Follow(ctx, time.Second)
	}()
	go func() {
		<-ctx.Done()
		wait, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = server.Shutdown(wait) // what is still open is closed with the process
	}()
	fmt.Fprintln(a.out, address)
	if hasListeners(study) {
		a.reminder(dir)
	}
	a.note("watching %s; Ctrl-C ends", dir)
	if open {
		if err := openInBrowser(ctx, address); err != nil {
			a.note("%v", err)
		}
	}
	err = server.Serve(listener)
	stop()
	<-followed
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// hasListeners reports whether people take part in a study.
func hasListeners(study *capture.Study) bool {
	for _, rows := range [][]capture.Seating{study.Seatings, study.NotRecorded} {
		for _, s := range rows {
			if !s.OnFixture() {
				return true
			}
		}
	}
	return false
}
