package screen

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"

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
	long := wholeBay(t)
	long.Vehicles = long.Vehicles[3:]
	long.Vehicles[0].Restrictions = append(long.Vehicles[0].Restrictions,
		&pb.Restriction{Text: "No more than five riders: the belt of the third rear seat does not latch"},
		&pb.Restriction{Text: "No faster than 80 km/h until the spare wheel has been torqued again"})
	fit := wholeBay(t)
	fit.Vehicles = fit.Vehicles[4:]
	due := wholeBay(t)
	due.Vehicles = due.Vehicles[3:]
	for _, r := range due.Vehicles {
		r.RoutineDues = someDues(r.GetVehicle())
	}
	doubted := wholeBay(t)
	doubted.Alarm = "The station’s record is not the one this tablet saw before."
	stopped := wholeBay(t)
	stopped.Live, stopped.Since, stopped.Heard = false, morning.Add(-time.Hour), morning.Add(-time.Hour)
	stopped.Stopped = "WN11, WN31"
	lapsing := wholeBay(t)
	waits := lapsing.Vehicles[3].GetOpenDefects()[0]
	waits.State = pb.DefectState_DEFECT_STATE_DEFERRED
	waits.Deferral = &pb.Deferral{Expires: timestamppb.New(morning.Add(3 * time.Hour)), WhenOver: pb.Effect_EFFECT_RESPONDING}
	return map[string]*round.Bay{
		"five-verdicts": wholeBay(t),
		"lapsing":       lapsing,
		"stopped":       stopped,
		"alarm":         doubted,
		"three":         quiet,
		"fit":           fit,
		"long":          long,
		"due":           due,
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
  .filter(e => e.offsetParent && !e.matches('.vh') && getComputedStyle(e).textOverflow !== 'ellipsis')
  .filter(e => {
    const box = e.getBoundingClientRect();
    return e.scrollWidth > e.clientWidth + 2 || e.scrollHeight > e.clientHeight + 8 ||
      box.right > innerWidth + 1 || (getComputedStyle(document.body).overflowY === 'hidden' && box.bottom > innerHeight + 1) || box.left < -1 || box.top < -1;
  }).map(e => e.className + ': ' + e.textContent)`

// Other glass than a 55-inch board: one that stands upright, a phone, a hall of ten.
func TestBayPage_FitsOtherGlass(t *testing.T) {
	ten := wholeBay(t)
	for n, more := range fiveVehicles(t) {
		more.Vehicle, more.CallSign = "vehicles/wn4"+strconv.Itoa(n), "WN4"+strconv.Itoa(n)
		ten.Vehicles = append(ten.Vehicles, more)
	}
	b := openBrowser(t, 1920, 1080)
	for _, tc := range []struct {
		name, query   string
		width, height int
		bay           *round.Bay
	}{
		{"ten", "?theme=day", 1920, 1080, ten},
		{"upright", "?theme=day&width=1080&height=1920", 1080, 1920, walked(t, func(w *round.BayWalk) { w.Found = "Indicator, left rear: dark" })},
		{"upright-command", "?theme=day&width=1080&height=1920", 1080, 1920, walked(t, func(w *round.BayWalk) { w.Command = "Press the brake pedal. Hold." })},
		{"phone", "?theme=day&width=390&height=844&inches=6&metres=2", 390, 844, wholeBay(t)},
		{"window", "?theme=night", 1280, 720, wholeBay(t)},
	} {
		t.Run(tc.name, func(t *testing.T) {
			k := serve(t, newDesk(tc.bay), defaultLimits())
			b.size(t, tc.width, tc.height)
			b.do(t, chromedp.Navigate(k.public.URL+"/bay"+tc.query))
			b.until(t, "!document.body.classList.contains('lost')")
			b.shoot(t, "bay-"+tc.name)
			if cut := value[[]string](t, b, cutOff); len(cut) > 0 {
				t.Errorf("cut off: %q", cut)
			}
		})
	}
}

// A text that fits under no circumstances says that there is more of it.
func TestBayPage_WhatIsCutSaysSo(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	bay := wholeBay(t)
	for range 8 {
		bay.Vehicles[3].Restrictions = append(bay.Vehicles[3].Restrictions, &pb.Restriction{Text: strings.Repeat("a limit that goes on and on ", 7)})
	}
	k := serve(t, newDesk(bay), defaultLimits())
	openBay(t, b, k)
	b.shoot(t, "bay-cut")
	if cut := value[[]string](t, b, "[...document.querySelectorAll('.cut')].map(e => e.textContent.slice(0, 9))"); len(cut) != 1 || cut[0] != "9 limits:" {
		t.Errorf("said to be cut: %q", cut)
	}
}

// colours finds each visible text with its colour and what it really lies on.
const colours = `(() => {
  const hex = c => '#' + c.match(/[0-9.]+/g).slice(0, 3).map(n => Math.round(n).toString(16).padStart(2, '0')).join('');
  const solid = c => !/^rgba\(.*, 0\)$/.test(c);
  const found = [];
  for (const e of document.querySelectorAll('body *')) {
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) || !e.checkVisibility({visibilityProperty: true, opacityProperty: true})) continue;
    let under = e;
    while (under.parentElement && !solid(getComputedStyle(under).backgroundColor)) under = under.parentElement;
    found.push([e.textContent.trim().slice(0, 40), hex(getComputedStyle(e).color), hex(getComputedStyle(under).backgroundColor)]);
  }
  return found;
})()`

// What is said to be the contrast is what the browser draws.
func TestBayPage_EveryTextHasItsContrast(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	for name, bay := range boards(t) {
		k := serve(t, newDesk(bay), defaultLimits())
		for _, page := range []string{"/bay?theme=day", "/bay?theme=night", "/bay/setup?theme=day", "/bay/setup?theme=night"} {
			b.do(t, chromedp.Navigate(k.inside.URL+page))
			b.until(t, "document.body.classList.contains('setup') || !document.body.classList.contains('lost')")
			texts := value[[][3]string](t, b, colours)
			if len(texts) < 3 {
				t.Fatalf("%s %s: only %d texts were found", name, page, len(texts))
			}
			for _, text := range texts {
				if got := contrast(t, text[1], text[2]); got < 7 {
					t.Errorf("%s %s: %q is %s on %s, %.2f:1", name, page, text[0], text[1], text[2], got)
				}
			}
		}
	}
}

func TestBayPage_SetUp(t *testing.T) {
	b := openBrowser(t, 1920, 1080)
	k := serve(t, newDesk(wholeBay(t)), defaultLimits())
	b.do(t, chromedp.Navigate(k.inside.URL+"/bay/setup?theme=day"))
	b.shoot(t, "bay-setup")
	if wrong := b.complaints(); wrong != "" {
		t.Errorf("the console says: %s", wrong)
	}
}
