package screen

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"bayround/internal/round"

	"github.com/chromedp/chromedp"
)

// What a person at the board can see of verdicts, and of their having been taken away.
const (
	marksSeen = `[...document.querySelectorAll('.truth, .mark, .word')].filter(e => e.checkVisibility()).length`
	deadTiles = `[...document.querySelectorAll('.far, .row, .defects')].filter(tile =>
		[...tile.querySelectorAll('.dead')].some(d => d.checkVisibility() && d.innerText.includes('NOT LIVE SINCE 07:42'))).length`
)

// openBay opens the display and waits until it is live.
func openBay(t *testing.T, b *browser, k *kit) {
	t.Helper()
	b.do(t, chromedp.Navigate(k.public.URL+"/bay?theme=day"))
	b.until(t, "!document.body.classList.contains('notlive')")
	if n := value[int](t, b, marksSeen); n < 5 {
		t.Fatalf("the live display shows %d marks and words", n)
	}
	if n := value[int](t, b, deadTiles); n != 0 {
		t.Fatalf("the live display has %d dead tiles", n)
	}
}

// dies waits until every tile says since when it is not live, and no mark is left.
func dies(t *testing.T, b *browser, k *kit) {
	t.Helper()
	b.until(t, "document.body.classList.contains('notlive')")
	if n := value[int](t, b, marksSeen); n != 0 {
		t.Errorf("the dead display still shows %d marks or words", n)
	}
	if n, want := value[int](t, b, deadTiles), len(k.desk.Bay().Vehicles)+2; n != want {
		t.Errorf("%d tiles say since when they are not live, want %d", n, want)
	}
}

func TestFailSafe_AKioskThatFallsSilent(t *testing.T) {
	t.Parallel() // it waits for seconds that must pass
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	openBay(t, b, k)
	k.Close() // no socket any more
	dies(t, b, k)
	b.shoot(t, "bay-lost")
}

// The page as it is delivered says nothing of the present before its socket does.
func TestFailSafe_APageWithoutASocket(t *testing.T) {
	t.Parallel() // it waits for seconds that must pass
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	k.Close()
	b.do(t, chromedp.Navigate(k.public.URL+"/bay"))
	dies(t, b, k)
}

func TestFailSafe_TimeThatRunsBackwards(t *testing.T) {
	t.Parallel() // it waits for seconds that must pass
	b := openBrowser(t, 1920, 1080)
	var back atomic.Int64
	start := time.Now()
	desk := newDesk(wholeBay(t))
	k := serveBy(t, desk, defaultLimits(), func() time.Time {
		return morning.Add(time.Since(start) - time.Duration(back.Load()))
	})
	bay := wholeBay(t)
	bay.Heard = time.Time{} // the station is live all the while
	desk.setBay(bay)
	openBay(t, b, k)
	listenTo(t, b)
	back.Store(int64(time.Minute))
	b.until(t, "document.body.classList.contains('notlive')")
	told := walked(t, func(w *round.BayWalk) { w.Command = "Press the brake pedal. Hold." })
	told.Heard = time.Time{}
	desk.setBay(told)
	b.until(t, "document.querySelector('[data-say]')")
	if value[bool](t, b, "document.body.classList.contains('lost') && heard.some(h => h.startsWith('say '))") {
		t.Error("a display that is not live tells the assistant what to do")
	}
	b.until(t, "!document.body.classList.contains('notlive')") // it has settled
	b.until(t, "heard.includes('say Press the brake pedal. Hold.')")
}

// When the script itself stops, for whatever reason, the page covers itself.
func TestFailSafe_AScriptThatStops(t *testing.T) {
	t.Parallel() // it waits for seconds that must pass
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	openBay(t, b, k)
	covered := "getComputedStyle(document.getElementById('cover')).visibility === 'visible'"
	b.until(t, "(document.getElementById('hand').style.transform.match(/[0-9]+/) || [0])[0] >= 60") // ten beats
	if value[bool](t, b, covered) {
		t.Fatal("the live page is covered")
	}
	value[bool](t, b, "JSON.parse = () => { throw new Error('broken') }, true")
	value[bool](t, b, "(() => { for (let i = 0; i < 10000; i++) clearInterval(i); return true; })()")
	b.until(t, covered)
	b.shoot(t, "bay-covered")
}

func TestFailSafe_AProgramOfAnotherVersion(t *testing.T) {
	t.Parallel() // it waits for seconds that must pass
	b := openBrowser(t, 1920, 1080)
	former := serve(t, newDesk(wholeBay(t)), defaultLimits())
	newer := serve(t, newDesk(wholeBay(t)), defaultLimits())
	newer.assets.build = "another"
	newer.Server.public.current.Store(&picture{build: "another", boot: newer.boot})
	var now atomic.Pointer[http.Handler]
	first, second := former.BayHandler(), newer.BayHandler()
	now.Store(&first)
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { (*now.Load()).ServeHTTP(w, r) }))
	defer server.Close()
	defer newer.Close()
	b.do(t, chromedp.Navigate(server.URL+"/bay"))
	b.until(t, "!document.body.classList.contains('notlive')")
	now.Store(&second)
	former.Close()
	b.until(t, "document.body && document.documentElement.dataset.build === 'another' && !document.body.classList.contains('notlive')")
}

// listenTo notes in the page what is said and when it falls silent. Where the browser
// has a voice it speaks; else this stands in for it.
func listenTo(t *testing.T, b *browser) {
	t.Helper()
	value[bool](t, b, `(() => {
		window.heard = [];
		const voice = speechSynthesis.getVoices().length > 0, speak = speechSynthesis.speak.bind(speechSynthesis), cancel = speechSynthesis.cancel.bind(speechSynthesis);
		speechSynthesis.speak = u => { heard.push("say " + u.text); if (voice) speak(u); };
		speechSynthesis.cancel = () => { heard.push("hush"); if (voice) cancel(); };
		return true;
	})()`)
}

func TestBayPage_SpeaksEachCommandOnce(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	openBay(t, b, k)
	listenTo(t, b)
	var want []string
	heard := func(what ...string) {
		t.Helper()
		want = append(want, what...)
		b.until(t, fmt.Sprintf("heard.filter((h, i) => h !== 'hush' || heard[i - 1] !== 'hush').length >= %d", len(want)))
		got := value[[]string](t, b, "heard.filter((h, i) => h !== 'hush' || heard[i - 1] !== 'hush')")
		if !slices.Equal(got, want) {
			t.Fatalf("heard %q, want %q", got, want)
		}
	}
	command := func(step, what string, answered int) {
		k.desk.setBay(walked(t, func(w *round.BayWalk) { w.Step, w.Answered, w.Command = step, answered, what }))
	}
	command("Brake lamps", "Press the brake pedal. Hold.", 37)
	heard("hush", "say Press the brake pedal. Hold.")
	command("Brake lamps", "Press the brake pedal. Hold.", 38) // drawn anew
	b.until(t, `document.querySelector('[aria-label="38 of 93 done"]')`)
	command("Reversing lamp", "Put it in reverse.", 38) // the step changes
	heard("hush", "say Put it in reverse.")
	k.desk.setBay(walked(t, func(w *round.BayWalk) { w.Turnout, w.DebtS = true, 20 }))
	heard("hush")
	command("Reversing lamp", "Put it in reverse.", 38)
	heard("say Put it in reverse.")
	k.desk.setBay(wholeBay(t)) // the round is paused
	heard("hush")
	command("Brake travel", "Press the brake pedal. Hold.", 38) // the same words for another step
	heard("say Press the brake pedal. Hold.")
	k.Close() // nothing is heard of the kiosk any more
	b.until(t, "document.body.classList.contains('lost')")
	heard("hush")
}

// A page that is open for weeks is shown many states: none leaves anything behind.
func TestBayPage_DoesNotGrow(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	openBay(t, b, k)
	size := "document.querySelectorAll('*').length"
	before := value[int](t, b, size)
	for n := range 300 {
		bay := walked(t, func(w *round.BayWalk) { w.Answered = n })
		if n%2 == 0 {
			bay = wholeBay(t)
		}
		k.desk.setBay(bay)
	}
	bay := wholeBay(t)
	bay.Events[0].Text = "the last one"
	k.desk.setBay(bay)
	b.until(t, "document.getElementById('foot').innerText.includes('the last one')")
	if after := value[int](t, b, size); after != before {
		t.Errorf("%d elements became %d", before, after)
	}
}
