package screen

import (
	"testing"
	"time"

	"bayround/internal/round"

	"github.com/chromedp/chromedp"
)

// boards are the states of the bay display that people meet.
func boards(t *testing.T) map[string]*round.Bay {
	t.Helper()
	stale := walked(t, func(*round.BayWalk) {})
	stale.Live, stale.Since, stale.Heard = false, morning.Add(-time.Hour), morning.Add(-time.Hour)
	none := &round.Bay{Version: 1, Now: morning, TimeZone: time.UTC, Station: "Skarholm Quay"}
	quiet := wholeBay(t)
	quiet.Vehicles = quiet.Vehicles[2:]
	fit := wholeBay(t)
	fit.Vehicles = fit.Vehicles[4:]
	return map[string]*round.Bay{
		"five-verdicts": wholeBay(t),
		"three":         quiet,
		"fit":           fit,
		"round":         walked(t, func(w *round.BayWalk) { w.Found = "Indicator, left rear: dark" }),
		"command": walked(t, func(w *round.BayWalk) {
			w.Step, w.Place = "Brake lamps", "rear"
			w.Command, w.GoOn = "Press the brake pedal. Hold.", "The driver says go on."
		}),
		"turnout":     walked(t, func(w *round.BayWalk) { w.Turnout, w.DebtS = true, 180 }),
		"not-live":    stale,
		"first-start": none,
	}
}

func TestBayPage_EachStateFitsAndBreaksNoPolicy(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	for name, bay := range boards(t) {
		t.Run(name, func(t *testing.T) {
			k := serve(t, newDesk(bay), defaultLimits())
			for _, theme := range []string{"day", "night"} {
				b.do(t, chromedp.Navigate(k.inside.URL+"/bay?theme="+theme))
				b.until(t, "!document.body.classList.contains('lost')")
				b.shoot(t, "bay-"+name+"-"+theme)
				if cut := value[[]string](t, b, cutOff); len(cut) > 0 {
					t.Errorf("cut off: %q", cut)
				}
			}
			if wrong := b.complaints(); wrong != "" {
				t.Errorf("the console says: %s", wrong)
			}
		})
	}
}

// cutOff finds text that does not fit its box, and boxes that leave the screen.
const cutOff = `[...document.querySelectorAll('#board p, #board h1, #board h2, #board li')]
  .filter(e => e.offsetParent && getComputedStyle(e).textOverflow !== 'ellipsis')
  .filter(e => {
    const box = e.getBoundingClientRect();
    return e.scrollWidth > e.clientWidth + 2 || e.scrollHeight > e.clientHeight + 8 ||
      box.right > innerWidth + 1 || box.bottom > innerHeight + 1 || box.left < -1 || box.top < -1;
  }).map(e => e.className + ': ' + e.textContent)`

func TestBayPage_SetUp(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	b.do(t, chromedp.Navigate(k.inside.URL+"/bay/setup?theme=day"))
	b.shoot(t, "bay-setup")
	if wrong := b.complaints(); wrong != "" {
		t.Errorf("the console says: %s", wrong)
	}
}
