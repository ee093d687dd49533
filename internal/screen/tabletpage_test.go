package screen

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// paper is a tablet's page with one of each thing that the script knows.
func paper(v *round.View) []region {
	form := `<form method="post" action="/act" data-act><input type="hidden" name="act" value="%s">%s</form>`
	return []region{
		{"answer", fmt.Sprintf(`<p id="version">version %d</p>`, v.Version) +
			fmt.Sprintf(form, "key", `<button id="seven" name="key" value="7" data-key="7">7</button><button id="back" name="key" value="back" data-key="Backspace">back</button>`) +
			fmt.Sprintf(form, "enter", `<button id="enter" name="way" value="enter" data-key="Enter">Enter <span id="hold" data-hold="`+fmt.Sprint(time.Now().Add(time.Hour).UnixMilli())+`"></span></button>`)},
		{"words", fmt.Sprintf(`<p data-at="TYR-010/a">%d</p>`, v.Version) +
			`<details id="drawer"><summary>Note</summary>` + fmt.Sprintf(form, "note", `<textarea id="note" name="text"></textarea><button id="keep">Keep</button>`) + `</details>` +
			fmt.Sprintf(form, "badge", `<input id="badge" type="password" name="text">`) +
			fmt.Sprintf(form, "sign-in", `<input id="pin" type="password" name="pin"><button id="in">Sign in</button>`) +
			`<form id="camera" method="post" action="/photo" enctype="multipart/form-data" data-photo><input id="file" type="file" name="photo"></form>`},
	}
}

// serveTablet serves a tablet's page of that paper.
func serveTablet(t *testing.T, desk *trivialDesk) *kit {
	t.Helper()
	k := serve(t, desk, defaultLimits())
	k.tablet.mu.Lock()
	defer k.tablet.mu.Unlock()
	k.tablet.source.draw = func(now time.Time) ([]region, beat, error) {
		return paper(desk.View()), beatOf(now, now, true, ""), nil
	}
	return k
}

// openTablet opens the page and waits for its socket; what it leaves in the window is
// gone when the page loads anew.
func openTablet(t *testing.T, b *browser, k *kit) {
	t.Helper()
	b.do(t, chromedp.Navigate(k.inside.URL+"/"))
	b.until(t, "document.documentElement && document.documentElement.dataset.line === 'up'")
	value[bool](t, b, "window.same = true")
}

func version(n int) string {
	return fmt.Sprintf("document.getElementById('version').textContent === 'version %d'", n)
}

func named(k *kit) (names []string) {
	for _, act := range k.desk.taken() {
		names = append(names, act.Name+act.Values["key"]+act.Values["text"])
	}
	return names
}

func TestTabletPage_ActsGoOverTheSocket(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	k := serveTablet(t, newDesk(wholeBay(t)))
	openTablet(t, b, k)
	b.do(t, chromedp.Click(chromedp.CSS("#seven")))
	b.until(t, version(2))
	b.do(t, chromedp.KeyEvent("7"))
	b.until(t, version(3))
	b.do(t, chromedp.KeyEvent(kb.Backspace))
	b.until(t, version(4))
	b.do(t, chromedp.KeyEvent(kb.Enter))
	b.until(t, version(5))
	if got, want := named(k), []string{"key7", "key7", "keyback", "enter"}; !slices.Equal(got, want) {
		t.Errorf("the desk was handed %q, want %q", got, want)
	}
	if !value[bool](t, b, "window.same === true") {
		t.Error("the page was loaded anew")
	}
	if wrong := b.complaints(); wrong != "" {
		t.Errorf("the console says: %s", wrong)
	}
}

// readerTypes is a script that types like a badge reader where the focus is: key by key, with
// a pause between them, and Enter; window.typed says when it is done.
const readerTypes = `(() => {
	const keys = [...%q, "Enter"], pause = %d;
	const next = () => {
		window.typed = !keys.length;
		if (window.typed) return;
		document.activeElement.dispatchEvent(new KeyboardEvent("keydown", { key: keys.shift(), bubbles: true, cancelable: true }));
		if (pause) setTimeout(next, pause); else next();
	};
	next();
	return true;
})()`

// What a badge reader types goes to the badge's field, wherever the focus is, and leaves no
// digit in the PIN. What is typed slowly, and what could be a PIN, is no badge.
func TestTabletPage_ABadgeIsReadWhereverTheFocusIs(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	k := serveTablet(t, newDesk(wholeBay(t)))
	openTablet(t, b, k)
	types := func(keys string, pauseMS int) {
		t.Helper()
		value[bool](t, b, fmt.Sprintf(readerTypes, keys, pauseMS))
		b.until(t, "window.typed")
	}
	want := []string{}
	for i, focus := range []string{"#badge", "#pin", "#in", "body"} {
		value[bool](t, b, fmt.Sprintf(`(document.activeElement.blur(), document.querySelector(%q).focus(), document.querySelector("#pin").value = "12", true)`, focus))
		types("WN-0012345", 0)
		want = append(want, "badgeWN-0012345")
		b.until(t, version(i+2))
		if left := value[string](t, b, `document.querySelector("#pin").value + document.querySelector("#badge").value`); left != "" {
			t.Errorf("with the focus on %s there is left %q", focus, left)
		}
	}
	value[bool](t, b, `(document.activeElement.blur(), true)`)
	types("WN-0012345", 150)
	types("24681357", 0)
	types("WN-00", 0)
	if got := slices.DeleteFunc(named(k), func(act string) bool { return !strings.HasPrefix(act, "badge") }); !slices.Equal(got, want) {
		t.Errorf("the desk was handed %q, want %q", got, want)
	}
}

func TestTabletPage_WhatIsTypedOutlastsNewRegions(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	k := serveTablet(t, newDesk(wholeBay(t)))
	openTablet(t, b, k)
	value[bool](t, b, "document.getElementById('drawer').open = true")
	b.do(t, chromedp.Focus(chromedp.CSS("#note")), chromedp.KeyEvent("scratch on the dor"), chromedp.KeyEvent(kb.ArrowLeft))
	if err := k.desk.Do(t.Context(), round.Act{Name: "elsewhere"}); err != nil { // the view changes meanwhile
		t.Fatal(err)
	}
	b.until(t, version(2))
	b.do(t, chromedp.KeyEvent("o"))
	if got := value[string](t, b, "document.getElementById('note').value"); got != "scratch on the door" {
		t.Errorf("the note says %q", got)
	}
	if !value[bool](t, b, "document.activeElement.id === 'note' && document.getElementById('drawer').open") {
		t.Error("the focus or the open drawer was lost")
	}
}

func TestTabletPage_APINDoesNotStay(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	k := serveTablet(t, desk)
	openTablet(t, b, k)
	b.do(t, chromedp.Focus(chromedp.CSS("#pin")), chromedp.KeyEvent("246810"+kb.Enter))
	b.until(t, version(2))
	if acts := desk.taken(); len(acts) != 1 || acts[0].Values["pin"] != "246810" {
		t.Errorf("the desk was handed %+v", acts)
	}
	if got := value[string](t, b, "document.getElementById('pin').value"); got != "" {
		t.Errorf("the field still holds %q", got)
	}
}

// With the socket cut the forms work by themselves, and the page says that it is cut.
func TestTabletPage_WorksWithoutItsSocket(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	k := serveTablet(t, newDesk(wholeBay(t)))
	openTablet(t, b, k)
	k.Close()
	b.until(t, "!document.getElementById('cut').hidden")
	b.do(t, chromedp.Click(chromedp.CSS("#seven")))
	b.until(t, "document.getElementById('version') && window.same !== true && "+version(2))
	if got := named(k); !slices.Equal(got, []string{"key7"}) {
		t.Errorf("the desk was handed %q", got)
	}
}

// An act that its socket leaves unanswered goes by POST under the same id, and the acts
// after it in their order: each is done once.
func TestTabletPage_WhatTheSocketLeavesUnansweredGoesByPost(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	stuck := make(chan struct{})
	desk.during = func() { <-stuck }
	k := serveTablet(t, desk)
	openTablet(t, b, k)
	b.do(t, chromedp.Click(chromedp.CSS("#seven")), chromedp.Click(chromedp.CSS("#back")))
	value[bool](t, b, "(() => { const f = fetch; window.fetch = (...a) => { window.posted = a[0]; return f(...a); }; return true; })()")
	b.until(t, "window.posted === '/act'")
	close(stuck)
	b.until(t, "document.getElementById('version') && window.same !== true && "+version(3))
	if got, want := named(k), []string{"key7", "keyback"}; !slices.Equal(got, want) {
		t.Errorf("the desk was handed %q, want %q", got, want)
	}
}

func TestTabletPage_SecondsOfHoldingAreShown(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	k := serveTablet(t, newDesk(wholeBay(t)))
	openTablet(t, b, k)
	b.until(t, "/^3[56][0-9][0-9] s$/.test(document.getElementById('hold').textContent)")
}

// Nothing that the tablet can show asks for what the page's policy refuses.
func TestTabletPage_NoStateBreaksThePolicy(t *testing.T) {
	b := openBrowser(t, 1280, 800)
	desk := newDesk(wholeBay(t))
	k := serve(t, desk, defaultLimits())
	samples := sampleViews(t)
	for _, name := range sampleNames(t) {
		desk.answer = func(round.Act) *round.View { return samples[name] }
		if err := desk.Do(t.Context(), round.Act{Name: "show"}); err != nil {
			t.Fatal(err)
		}
		openTablet(t, b, k)
		if wrong := b.complaints(); wrong != "" {
			t.Fatalf("%s: the console says: %s", name, wrong)
		}
	}
}
