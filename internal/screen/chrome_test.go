package screen

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is a real Chromium with one tab, and what its console complained of.
type browser struct {
	ctx context.Context //nolint:containedctx // chromedp keeps the tab in it

	mu    sync.Mutex
	wrong []string // guarded by mu
}

// openBrowser starts Chromium, CHROME= or the one on the path.
func openBrowser(t *testing.T, width, height int) *browser {
	t.Helper()
	name := os.Getenv("CHROME")
	if name == "" {
		name = "chromium"
	}
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skip("skipped: needs chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.WindowSize(width, height),
		chromedp.Flag("hide-scrollbars", true))
	b, err := startBrowser(t, options)
	for tries := 1; err != nil && tries < 3 && strings.Contains(err.Error(), "failed to start"); tries++ {
		t.Logf("the browser died at its start, before it saw a page; it is started again: %v", err)
		b, err = startBrowser(t, options)
	}
	if err != nil {
		t.Fatalf("starting the browser: %v", err)
	}
	b.size(t, width, height)
	return b
}

func startBrowser(t *testing.T, options []chromedp.ExecAllocatorOption) (*browser, error) {
	t.Helper()
	allocated, cancelAllocated := chromedp.NewExecAllocator(t.Context(), options...)
	t.Cleanup(cancelAllocated)
	ctx, cancel := chromedp.NewContext(allocated)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 4*time.Minute) // a browser that hangs fails the test, not the run
	t.Cleanup(cancel)
	b := &browser{ctx: ctx}
	return b, chromedp.Listen(ctx, b.listen)
}

// listen gathers errors of the console, refusals by the page's policy among them.
func (b *browser) listen(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		b.wrong = append(b.wrong, e.ExceptionDetails.Text+" at "+e.ExceptionDetails.URL)
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelError {
			b.wrong = append(b.wrong, e.Entry.Text)
		}
	}
}

func (b *browser) complaints() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Join(b.wrong, "\n")
}

func (b *browser) size(t *testing.T, width, height int) {
	t.Helper()
	b.do(t, chromedp.EmulateViewport(int64(width), int64(height)))
}

func (b *browser) do(t *testing.T, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		t.Fatalf("the browser: %v; its console: %s", err, b.complaints())
	}
}

// until waits for a JavaScript expression to become true.
func (b *browser) until(t *testing.T, expression string) {
	t.Helper()
	ask := "new Promise(yes => { const look = () => (" + expression + ") ? yes(true) : setTimeout(look, 20); look(); })"
	_, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](ask, chromedp.EvalAwaitPromise))
	for err != nil && (strings.Contains(err.Error(), "navigated") || strings.Contains(err.Error(), "context was destroyed")) {
		_, err = chromedp.Run(b.ctx, chromedp.Evaluate[bool](ask, chromedp.EvalAwaitPromise)) // the page loaded itself anew
	}
	if err != nil {
		t.Fatalf("waiting for %s: %v; the console: %s", expression, err, b.complaints())
	}
}

// value is what a JavaScript expression comes to.
func value[T any](t *testing.T, b *browser, expression string) T {
	t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		t.Fatalf("asking for %s: %v", expression, err)
	}
	return v
}

// shoot keeps a picture of the page where git does not look.
func (b *browser) shoot(t *testing.T, name string) {
	t.Helper()
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatalf("taking a picture: %v", err)
	}
	dir := filepath.Join("..", "..", "build", "screens")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		t.Fatal(err)
	}
}
