package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"asworn/cmd/internal/console"
)

// The view is served on the loopback address alone, shows the cautions where
// people take part, and ends with the context.
func TestServe(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "study")
	if code := execute(t.Context(), []string{"new", dir, "--fixture", "1", "--listeners", "1", "--survey=false"}, io.Discard, io.Discard); code != console.Done {
		t.Fatalf("new: code %d", code)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	read, write := io.Pipe()
	var stderr bytes.Buffer
	code := make(chan int, 1)
	go func() {
		code <- execute(ctx, []string{"serve", dir}, write, &stderr)
		write.Close()
	}()
	address, err := bufio.NewReader(read).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	address = strings.TrimSpace(address)
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	if ip := net.ParseIP(u.Hostname()); ip == nil || !ip.IsLoopback() {
		t.Errorf("served at %s, not on the loopback address", address)
	}
	get := func(path, host string) (int, []byte) {
		req, err := http.NewRequestWithContext(ctx, http.MethodGet, address+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if host != "" {
			req.Host = host
		}
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, body
	}
	if status, body := get("", ""); status != http.StatusOK || !bytes.Contains(body, []byte("<html")) {
		t.Errorf("page: status %d", status)
	}
	status, body := get("state", "")
	var state map[string]any
	if err := json.Unmarshal(body, &state); err != nil || status != http.StatusOK {
		t.Errorf("state: status %d, %v", status, err)
	}
	if status, _ := get("", "evil.example"); status != http.StatusForbidden {
		t.Errorf("a request for another host: status %d, want %d", status, http.StatusForbidden)
	}
	stop()
	if c := <-code; c != console.Done {
		t.Errorf("code %d after the end, want %d; stderr:\n%s", c, console.Done, stderr.String())
	}
	if !strings.Contains(stderr.String(), "listeners: start at a low level") {
		t.Error("no reminder of the cautions for a study with listeners")
	}
}
