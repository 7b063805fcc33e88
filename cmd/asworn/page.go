package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"github.com/spf13/pflag"
)

// pageOptions say where a page is served.
type pageOptions struct {
	port int
	open bool
}

func (p *pageOptions) flags(f *pflag.FlagSet) {
	f.IntVar(&p.port, "port", 0, "port on the loopback address, 0 for a free one")
	f.BoolVar(&p.open, "open", false, "open the page in the browser")
}

func (p *pageOptions) check() error {
	if p.port < 0 || p.port > 65535 {
		return usagef("--port %d: want 0 to 65535", p.port)
	}
	return nil
}

// servePage serves a handler on the loopback address until ctx ends, and prints
// where.
func servePage(ctx context.Context, a *app, h http.Handler, opt pageOptions) error {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(opt.port)))
	if err != nil {
		return fmt.Errorf("the page cannot be served: %w; name another --port", err)
	}
	address := "http://" + listener.Addr().String() + "/"
	server := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 30 * time.Second, MaxHeaderBytes: 16 << 10}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		<-ctx.Done()
		wait, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = server.Shutdown(wait) // what is still open is closed with the process
	}()
	fmt.Fprintln(a.out, address)
	a.note("Ctrl-C ends")
	if opt.open {
		if err := openInBrowser(ctx, address); err != nil {
			a.note("%v", err)
		}
	}
	if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
