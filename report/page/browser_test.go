package page

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"asworn/report"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	cdpruntime "github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is one tab; everything that it complains about and
// everything that it asks for is kept.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu       sync.Mutex
	problems []string
	requests []string
}

// TestBrowser looks at the page and at the live view in Chromium (Debian's
// package), one tab for each part. It is skipped where there is none.
func TestBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("browser test left out by -short")
	}
	exe := ""
	for _, name := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(name); err == nil {
			exe = p
			break
		}
	}
	if exe == "" {
		t.Skip("no chromium on this machine: apt-get install chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	defer cancel()
	ctx, cancel = chromedp.NewContext(ctx)
	defer cancel()
	if err := chromedp.Do(ctx); err != nil { // starts it
		t.Fatal(err)
	}
	for _, part := range []struct {
		name string
		look func(*browser)
	}{
		{"Hover", (*browser).hover}, {"Keyboard", (*browser).keyboard}, {"Tables", (*browser).tables}, {"Links", (*browser).links}, {"Folds", (*browser).folds},
		{"Axe", (*browser).accessible}, {"Sizes", (*browser).sizes}, {"Live", (*browser).live}, {"Takes", (*browser).takes}, {"Escaping", (*browser).escaping},
		{"Fixtures", (*browser).fixtures}, {"FixturesKeyboard", (*browser).fixturesKeyboard}, {"FixturesStill", (*browser).fixturesStill},
	} {
		t.Run(part.name, func(t *testing.T) { part.look(newTab(t, ctx)) })
	}
}

func newTab(t *testing.T, parent context.Context) *browser {
	t.Helper()
	ctx, cancel := chromedp.NewContext(parent)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 2*time.Minute) // only against a hang
	t.Cleanup(cancel)
	b := &browser{t: t, ctx: ctx}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *browser) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *cdpruntime.EventExceptionThrown:
		b.problems = append(b.problems, e.ExceptionDetails.Text+": "+exceptionWords(e.ExceptionDetails.Exception))
	case *cdpruntime.EventConsoleAPICalled:
		if e.Type != cdpruntime.ConsoleAPICalledTypeLog {
			b.problems = append(b.problems, fmt.Sprintf("console %s: %v", e.Type, e.Args))
		}
	case *cdppage.EventJavascriptDialogOpening:
		b.problems = append(b.problems, "dialog: "+e.Message)
	case *network.EventRequestWillBeSent:
		b.requests = append(b.requests, e.Request.URL)
	case *network.EventLoadingFailed:
		b.problems = append(b.problems, "failed: "+e.ErrorText)
	}
}

func exceptionWords(o *cdpruntime.RemoteObject) string {
	if o == nil {
		return ""
	}
	return o.Description
}

func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// eval gives the value of a JavaScript expression, or of the promise it gives.
func eval[T any](b *browser, js string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%v in %.200s", err, js)
	}
	return v
}

// media chooses the medium ("" or "print") and the colour scheme.
func (b *browser) media(medium, scheme string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: medium,
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	if err != nil {
		b.t.Fatal(err)
	}
}

// quiet fails the test when the browser complained or fetched anything but url.
func (b *browser) quiet(url string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, p := range b.problems {
		b.t.Error(p)
	}
	for _, r := range b.requests {
		if got, _, _ := strings.Cut(r, "#"); got != url {
			b.t.Errorf("the page asked for %.200s", r)
		}
	}
}

// open writes the page of r to disk and opens it from there.
func (b *browser) open(r report.Results) string {
	b.t.Helper()
	return b.openHTML(page(b.t, r))
}

// openHTML writes a page to disk and opens it from there.
func (b *browser) openHTML(html string) string {
	b.t.Helper()
	file := filepath.Join(b.t.TempDir(), "page.html")
	if err := os.WriteFile(file, []byte(html), 0o666); err != nil {
		b.t.Fatal(err)
	}
	url := "file://" + file
	b.do(chromedp.EmulateViewport(1366, 768), chromedp.Navigate(url))
	return url
}

// withoutScripts opens a page whose own script does not run.
func (b *browser) withoutScripts(open func() string) string {
	b.t.Helper()
	scripts := func(off bool) {
		if _, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: off}); err != nil {
			b.t.Fatal(err)
		}
	}
	scripts(true)
	url := open()
	scripts(false) // the page's own was passed over by now
	if eval[bool](b, `[...document.querySelectorAll("[data-fig] output")].some(o => o.textContent.includes("Hz"))`) {
		b.t.Fatal("the page's script ran")
	}
	return url
}

// intact finds links to nowhere and names that are used twice.
func (b *browser) intact() {
	b.t.Helper()
	dead := eval[[]string](b, `[...new Set([...document.querySelectorAll("a[href^='#']")].map(a => a.getAttribute("href")))].filter(h => !document.getElementById(h.slice(1)))`)
	if len(dead) > 0 {
		b.t.Errorf("links to nowhere: %v", dead)
	}
	twice := eval[[]string](b, `(() => { const n = {}; document.querySelectorAll("[id]").forEach(e => n[e.id] = (n[e.id] || 0) + 1); return Object.keys(n).filter(k => n[k] > 1) })()`)
	if len(twice) > 0 {
		b.t.Errorf("ids used twice: %v", twice)
	}
}

// shot saves a screenshot of the whole page, or of the window, to $ASWORN_SHOTS.
func (b *browser) shot(name string, whole bool) {
	b.t.Helper()
	dir := os.Getenv("ASWORN_SHOTS")
	if dir == "" {
		return
	}
	take := chromedp.CaptureScreenshot()
	if whole {
		take = chromedp.FullScreenshot(100)
	}
	img, err := chromedp.Run(b.ctx, take)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), img, 0o666); err != nil {
		b.t.Fatal(err)
	}
}
