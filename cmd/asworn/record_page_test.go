//go:build unix

package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"asworn/capture/audio"
	"asworn/cmd/internal/console"
)

// startPage serves a bench that is set up and returns its address.
func startPage(t *testing.T, dir string, sound audio.System) string {
	t.Helper()
	setUpBench(t, dir)
	ctx, stop := context.WithCancel(t.Context())
	read, write := io.Pipe()
	ended := make(chan int, 1)
	var stderr bytes.Buffer
	go func() {
		a := &program{console.Console{In: strings.NewReader(""), Out: write, Err: &stderr}, func() (audio.System, error) { return sound, nil }}
		ended <- a.execute(ctx, []string{"record", dir, "--page"})
		write.Close()
	}()
	address, err := bufio.NewReader(read).ReadString('\n')
	t.Cleanup(func() {
		stop()
		if code := <-ended; code != console.Done {
			t.Errorf("code %d, want %d: %s", code, console.Done, stderr.String())
		}
	})
	if err != nil {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	return strings.TrimSpace(address)
}

// What the page can be asked for: not by other sites, and not without a level.
func TestRecordPageRequests(t *testing.T) {
	dir := benchStudy(t)
	address := startPage(t, dir, newSimulatedBench())
	post := func(body, kind, site string) int {
		t.Helper()
		req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, address+"act", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", kind)
		if site != "" {
			req.Header.Set("Origin", site)
			req.Header.Set("Sec-Fetch-Site", "cross-site")
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res.StatusCode
	}
	for _, c := range []struct {
		body, kind, site string
		want             int
	}{
		{`{"do":"enter"}`, "application/json", "http://other.example", http.StatusForbidden},
		{`{"do":"enter"}`, "text/plain", "", http.StatusBadRequest},
		{`{"do":"dance"}`, "application/json", "", http.StatusBadRequest},
		{`{"do":"read","words":"far"}`, "application/json", "", http.StatusBadRequest},
		{`{"do":"skip"}`, "application/json", "", http.StatusNoContent},
		{`{"do":"enter"}`, "application/json", "", http.StatusNoContent},
	} {
		if got := post(c.body, c.kind, c.site); got != c.want {
			t.Errorf("%s as %s from %q: status %d, want %d", c.body, c.kind, c.site, got, c.want)
		}
	}
	res, err := http.Get(address + "state")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var s struct {
		Desk struct{ Phase, Next, Cautions string }
	}
	if err := json.NewDecoder(res.Body).Decode(&s); err != nil {
		t.Fatal(err)
	}
	if s.Desk.Phase != "caution" || !strings.Contains(s.Desk.Next, "L01") || !strings.Contains(s.Desk.Cautions, "Never push") {
		t.Errorf("%+v", s.Desk)
	}
}

// The guided session through the page in Chromium, by keys and by touch.
func TestRecordInBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("browser test left out by -short")
	}
	exe, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium on this machine: apt-get install chromium")
	}
	dir := benchStudy(t)
	b := newSimulatedBench()
	address := startPage(t, dir, b)
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	ctx, cancel = context.WithTimeout(ctx, 90*time.Second)
	defer cancel()
	do := func(actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, actions...); err != nil {
			t.Fatal(err)
		}
	}
	reads := func(selector, want string) {
		t.Helper()
		last := ""
		for range 300 { // 30 s
			text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.querySelector('"+selector+"').textContent"))
			if err != nil {
				t.Fatal(err)
			}
			if last = text; strings.Contains(last, want) {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
		t.Fatalf("%s reads %q, want %q", selector, last, want)
	}
	touch := func(selector string) { // in the middle of what is shown, as a finger does
		t.Helper()
		at, err := chromedp.Run(ctx, chromedp.Evaluate[[]float64]("(() => { const e = document.querySelector('"+selector+"'); e.scrollIntoView(); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()"))
		if err != nil {
			t.Fatal(err)
		}
		do(chromedp.MouseClickXY(at[0], at[1]))
	}
	folder := os.Getenv("ASWORN_SHOTS") // for eyes
	look := func(name string) {
		t.Helper()
		for _, v := range []struct{ width, height int64 }{{1440, 900}, {820, 1180}, {390, 844}, {1366, 768}} {
			do(chromedp.EmulateViewport(v.width, v.height))
			// Capitals of 48 pixels are 9 mm high on a screen of 96 pixels an inch, at two
			// metres the 16 minutes of arc that ISO 9241-303 asks for (quoted from memory).
			// A tablet and a telephone are nearer.
			size, err := chromedp.Run(ctx, chromedp.Evaluate[[]float64]("[document.documentElement.scrollWidth - innerWidth, ...['next', 'word'].map(id => parseFloat(getComputedStyle(document.getElementById(id)).fontSize))]"))
			if err != nil {
				t.Fatal(err)
			}
			if size[0] > 0 || v.width == 1440 && (size[1] < 48 || name != "caution" && size[2] < 48) {
				t.Errorf("%s, %d wide: %g pixels beyond the window, the row in letters of %g, the verdict of %g", name, v.width, size[0], size[1], size[2])
			}
			for _, scheme := range []string{"dark", "light"} {
				_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
				if err != nil {
					t.Fatal(err)
				}
				if folder == "" {
					continue
				}
				png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
				if err == nil {
					err = os.MkdirAll(folder, 0o777)
				}
				if err == nil {
					err = os.WriteFile(filepath.Join(folder, fmt.Sprintf("record-%s-%d-%s.png", name, v.width, scheme)), png, 0o666)
				}
				if err != nil {
					t.Error(err)
				}
			}
		}
	}
	do(chromedp.EmulateViewport(1366, 768))
	do(chromedp.Navigate(address))
	reads("#next", "Row 1 of 2: Model A on the fixture, seating 1")
	look("ready")

	// A key stops the sound.
	b.set(func() { b.slow = make(chan struct{}) })
	do(chromedp.KeyEvent(kb.Enter))
	reads("#word", "playing")
	reads("#meters", "left")
	reads("#meters", "right")
	look("playing")
	do(chromedp.KeyEvent("z"))
	reads("#message", "stopped; nothing was kept")
	time.Sleep(time.Second) // keys and touches right after a stop do nothing

	// So does a touch anywhere.
	b.set(func() { b.slow = make(chan struct{}) })
	do(chromedp.KeyEvent(kb.Enter))
	reads("#word", "playing")
	do(chromedp.MouseClickXY(300, 300))
	reads("#message", "stopped; nothing was kept")
	time.Sleep(time.Second)

	do(chromedp.KeyEvent(kb.Enter))
	reads("#word", "keep: recorded")
	look("judged")
	touch("button[data-do=note]")
	do(chromedp.KeyEvent("loose cable"), chromedp.KeyEvent(kb.Enter))
	reads("#message", "noted: loose cable")
	touch("#buttons .main")
	reads("#next", "Row 2 of 2: Model A on L01")
	touch("#buttons .main")
	reads("#cautions", "Never push")
	look("caution")
	do(chromedp.KeyEvent("y"))
	reads("#word", "ready")
	do(chromedp.KeyEvent(kb.Enter))
	reads("#word", "keep: recorded")
	do(chromedp.KeyEvent(kb.Enter))
	reads("#next", "No row is left")
	if sheet, err := os.ReadFile(filepath.Join(dir, "seatings.csv")); err != nil || !bytes.Contains(sheet, []byte("loose cable")) {
		t.Errorf("%v: %s", err, sheet)
	}
	for _, file := range []string{"fixture-model-a-01-blocked.wav", "L01-model-a-01.wav"} {
		if _, err := os.Stat(filepath.Join(dir, "recordings", file)); err != nil {
			t.Error(err)
		}
	}
}
