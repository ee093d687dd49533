package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// browser is a real Chromium. CHROME names another program than Debian's.
type browser struct {
	t   *testing.T
	ctx context.Context
}

// patience bounds one act on a page; it is long because a slow machine is no failure.
const patience = 60 * time.Second

// patiently lets a poll wait as long; by itself it gives up after half of that.
var patiently = chromedp.WithPollingTimeout(patience)

// openBrowser starts a browser of its own, ended with the test. A missing browser
// skips the test by name; where nothing may be skipped that counts as a failure.
func openBrowser(t *testing.T) *browser {
	t.Helper()
	program := os.Getenv("CHROME")
	if program == "" {
		program = "chromium"
	}
	path, err := exec.LookPath(program)
	if err != nil {
		needs(t, "the browser %s (Debian's package chromium, or CHROME=path)", program)
	}
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("hide-scrollbars", true))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("starting %s: %v", path, err)
	}
	return &browser{t: t, ctx: ctx}
}

// page is one tab.
type page struct {
	t   *testing.T
	ctx context.Context
}

// open opens an address in a tab of its own, with a touch screen of that size.
func (b *browser) open(url string, width, height int64) *page {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	b.t.Cleanup(cancel)
	p := &page{t: b.t, ctx: ctx}
	if err := chromedp.Do(ctx); err != nil {
		b.t.Fatalf("opening a tab: %v", err)
	}
	p.do("opening "+url, chromedp.EmulateViewport(width, height, chromedp.EmulateTouch), chromedp.Navigate(url))
	return p
}

func (p *page) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.fail(what, err)
	}
}

// fail ends the test with what the page showed.
func (p *page) fail(what string, err error) {
	p.t.Helper()
	p.shot("failed-" + strings.NewReplacer("/", "-", " ", "-").Replace(p.t.Name()))
	words, unread := ask(p, patience, chromedp.Evaluate[string](`document.body?.innerText ?? "nothing yet: it was just being loaded"`))
	if unread != nil {
		words = unread.Error()
	}
	p.t.Fatalf("%s: %v\nthe page said:\n%s", what, err, words)
}

// evaluate runs a script in the page and returns what it gives.
func evaluate[T any](p *page, script string) T {
	p.t.Helper()
	got, err := ask(p, patience, chromedp.Evaluate[T](script))
	if err != nil {
		p.t.Fatalf("%s: %v", script, err)
	}
	return got
}

// ask asks the page, and once more when it was just being loaded anew: it does so
// by itself when its socket was slow.
func ask[T any](p *page, within time.Duration, action chromedp.Action[T]) (got T, err error) {
	for range 5 {
		ctx, cancel := context.WithTimeout(p.ctx, within)
		got, err = chromedp.Run(ctx, action)
		cancel()
		if err == nil || !loading.MatchString(err.Error()) {
			return got, err
		}
	}
	return got, err
}

// loading matches what the browser and a script say of a page that is just being loaded.
var loading = regexp.MustCompile(`context with|Not attached to an active page|navigated or closed|of null \(reading '(innerText|querySelector)'\)`)

// until waits until a script gives true.
func (p *page) until(script string) {
	p.t.Helper()
	if _, err := ask(p, patience, chromedp.Poll[bool](script, patiently)); err != nil {
		p.fail("waiting for "+script, err)
	}
}

// spot is where the middle of an element is, once it is there, in sight and under
// nothing else. Nobody touches what has only just come into sight: the page lets
// such a touch fall through.
const spot = `(selector => {
	const at = document.querySelector("main[data-at]")?.dataset.at;
	if (at !== window.seenAt) [window.seenAt, window.seenSince] = [at, performance.now()];
	const e = document.querySelector(selector);
	if (!e || performance.now() - window.seenSince < 350) return null;
	e.scrollIntoView({block: "center", inline: "center", behavior: "instant"});
	const box = e.getBoundingClientRect(), x = box.x + box.width / 2, y = box.y + box.height / 2;
	const top = document.elementFromPoint(x, y);
	return box.width > 0 && top && (e.contains(top) || top.contains(e)) ? [x, y] : null;
})(%q)`

// tap touches the element that a selector names, as a finger does. Pages are
// drawn anew under the finger, so the place is touched, not the element.
func (p *page) tap(selector string) {
	p.t.Helper()
	at, err := ask(p, patience, chromedp.Poll[[]float64](fmt.Sprintf(spot, selector), patiently))
	if err != nil {
		p.fail("waiting for "+selector, err)
	}
	p.do("touching "+selector, chromedp.TapXY(at[0], at[1]))
}

// typeIn touches a field and types on a keyboard.
func (p *page) typeIn(selector, text string) {
	p.t.Helper()
	p.tap(selector)
	p.until(fmt.Sprintf(`document.activeElement?.matches(%q)`, selector))
	p.do("typing", chromedp.KeyEvent(text))
}

// shot keeps a picture of the page in build/screens for people to look at.
func (p *page) shot(name string) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	picture, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Logf("no picture of %s: %v", name, err)
		return
	}
	folder := filepath.Join("..", "build", "screens")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o644); err != nil { //nolint:gosec // a picture for people
		p.t.Fatal(err)
	}
}

// containsFold is strings.Contains for words in any case.
func containsFold(words, part string) bool {
	return strings.Contains(strings.ToLower(words), strings.ToLower(part))
}
