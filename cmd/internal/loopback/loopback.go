// Package loopback serves a page on the loopback address of this machine alone. It knows
// nothing of what the page shows.
package loopback

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"asworn/cmd/internal/console"

	"github.com/spf13/pflag"
)

// Options say where a page is served.
type Options struct {
	Port int  // 0 for a free one
	Open bool // in the browser
}

// Flags adds the flags that set them.
func (p *Options) Flags(f *pflag.FlagSet) {
	f.IntVar(&p.Port, "port", 0, "port on the loopback address, 0 for a free one")
	f.BoolVar(&p.Open, "open", false, "open the page in the browser")
}

// Check returns a usage error for a port that is none.
func (p *Options) Check() error {
	if p.Port < 0 || p.Port > 65535 {
		return console.Usagef("--port %d: want 0 to 65535", p.Port)
	}
	return nil
}

// Serve serves a handler on the loopback address until ctx ends, and prints
// where.
func Serve(ctx context.Context, c *console.Console, h http.Handler, opt Options) error {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(opt.Port)))
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
	fmt.Fprintln(c.Out, address)
	c.Note("Ctrl-C ends")
	if opt.Open {
		if err := console.Browse(ctx, address); err != nil {
			c.Note("%v", err)
		}
	}
	if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
