package screen

import (
	"fmt"
	"net/http"
	"runtime"
	"runtime/pprof"
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"

	"github.com/gorilla/websocket"
)

func TestSocket_WhatIsMalformedEndsItAndNothingElse(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	witness := k.dial(t, k.inside, "/ws/tablet")
	for _, tc := range []struct {
		why, path string
		kind      int
		content   string
		code      int
	}{
		{"no JSON", "/ws/tablet", websocket.TextMessage, "hello", websocket.ClosePolicyViolation},
		{"no act", "/ws/tablet", websocket.TextMessage, "{}", websocket.ClosePolicyViolation},
		{"bytes", "/ws/tablet", websocket.BinaryMessage, `{"act":"next"}`, websocket.CloseUnsupportedData},
		{"too long by one", "/ws/tablet", websocket.TextMessage, strings.Repeat(" ", 16<<10) + "{", websocket.CloseMessageTooBig},
		{"a display that speaks", "/ws/bay", websocket.TextMessage, `{"act":"next"}`, websocket.ClosePolicyViolation},
	} {
		t.Run(tc.why, func(t *testing.T) {
			p := k.dial(t, k.inside, tc.path)
			p.next(t)
			p.send(t, tc.kind, tc.content)
			if code := p.end(t); code != tc.code {
				t.Errorf("closed with %d, want %d", code, tc.code)
			}
		})
	}
	if acts := k.desk.taken(); len(acts) > 0 {
		t.Errorf("the desk was handed %+v", acts)
	}
	witness.send(t, websocket.TextMessage, `{"act":"next"}`)
	witness.until(t, func(w wire) bool { return len(k.desk.taken()) == 1 })
}

// A frame as long as the limit is taken: the limit is where it is said to be.
func TestSocket_AFrameAtTheLimitIsTaken(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	p := k.dial(t, k.inside, "/ws/tablet")
	frame := `{"act":"note","values":{"text":"x"}}`
	p.send(t, websocket.TextMessage, frame+strings.Repeat(" ", 16<<10-len(frame)))
	p.until(t, func(w wire) bool { return len(k.desk.taken()) == 1 })
}

func TestSocket_OnlyAPageOfThisServerGetsOne(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	address := strings.TrimPrefix(k.inside.URL, "http://")
	port := address[strings.LastIndex(address, ":"):]
	for _, tc := range []struct {
		why    string
		change func(http.Header)
		status int
	}{
		{"no origin", func(h http.Header) { h.Del("Origin") }, http.StatusForbidden},
		{"another site", func(h http.Header) { h.Set("Origin", "http://evil.example") }, http.StatusForbidden},
		{"another port here", func(h http.Header) { h.Set("Origin", "http://127.0.0.1:1") }, http.StatusForbidden},
		{"another scheme", func(h http.Header) { h.Set("Origin", "https://"+address) }, http.StatusForbidden},
		{"a file", func(h http.Header) { h.Set("Origin", "null") }, http.StatusForbidden},
		{"a rebound name, its own origin", func(h http.Header) {
			h.Set("Host", "evil.example"+port)
			h.Set("Origin", "http://evil.example"+port)
		}, http.StatusMisdirectedRequest},
	} {
		t.Run(tc.why, func(t *testing.T) {
			for _, path := range []string{"/ws/tablet", "/ws/bay"} {
				p, answer, err := dialWith(t, k.inside, path, func(_ *websocket.Dialer, h http.Header) { tc.change(h) })
				if err == nil {
					p.next(t)
					t.Fatalf("%s was opened", path)
				}
				if answer == nil || answer.StatusCode != tc.status {
					t.Errorf("%s: %v, want status %d", path, answer, tc.status)
				}
			}
		})
	}
}

func TestSocket_OneTooManyIsToldToTryAgain(t *testing.T) {
	l := quickLimits()
	l.tablets, l.bays = 2, 1
	k := serve(t, newDesk(wholeBay(t)), l)
	first, second := k.dial(t, k.inside, "/ws/tablet"), k.dial(t, k.inside, "/ws/tablet")
	first.next(t)
	second.next(t)
	if code := k.dial(t, k.inside, "/ws/tablet").end(t); code != websocket.CloseTryAgainLater {
		t.Errorf("the third tablet's socket was closed with %d", code)
	}
	bay := k.dial(t, k.inside, "/ws/bay")
	bay.next(t)
	_ = first.Close()
	for { // the place is free once the server has noticed
		p := k.dial(t, k.inside, "/ws/tablet")
		_ = p.SetReadDeadline(time.Now().Add(tooLong)) // as everywhere
		if _, _, err := p.ReadMessage(); err == nil {
			break
		}
	}
	second.next(t)
}

// wide is a bay whose frames are long, so that the kernel's buffers do not hide who
// does not read.
func wide(t *testing.T, n int) *round.Bay {
	t.Helper()
	b := wholeBay(t)
	b.Version = uint64(n)
	b.Events = []round.BayEvent{{At: morning, Text: fmt.Sprintf("event %d.", n) + strings.Repeat("x", 200<<10)}}
	return b
}

func TestSocket_WhoDoesNotReadIsDroppedAndHoldsNobodyUp(t *testing.T) {
	l := quickLimits()
	l.write = 2 * time.Second
	k := serve(t, newDesk(wide(t, 0)), l)
	fast := k.dial(t, k.public, "/ws/bay")
	slow, _, err := dialWith(t, k.public, "/ws/bay", deaf)
	if err != nil {
		t.Fatal(err)
	}
	slow.next(t)
	seenWhileStuck := 0
	for n := 1; k.Server.public.count() == 2; n++ {
		k.desk.setBay(wide(t, n))
		fast.shows(t, "foot", fmt.Sprintf("event %d.", n))
		seenWhileStuck++
	}
	if seenWhileStuck < 3 {
		t.Errorf("the other page saw %d states while one was stuck", seenWhileStuck)
	}
	k.desk.setBay(wide(t, 1e6))
	fast.shows(t, "foot", "event 1000000.")
}

func TestSocket_WhoWasSlowSkipsStatesButNeverTheNewest(t *testing.T) {
	l := quickLimits()
	l.write, l.pong = tooLong, tooLong
	k := serve(t, newDesk(wide(t, 0)), l)
	fast := k.dial(t, k.public, "/ws/bay")
	slow, _, err := dialWith(t, k.public, "/ws/bay", deaf)
	if err != nil {
		t.Fatal(err)
	}
	slow.next(t)
	const states = 50
	for n := 1; n <= states; n++ {
		k.desk.setBay(wide(t, n))
		fast.shows(t, "foot", fmt.Sprintf("event %d.", n))
	}
	sent := 0
	for !strings.Contains(slow.regions["foot"], fmt.Sprintf("event %d.", states)) {
		if len(slow.next(t).Regions) > 0 {
			sent++
		}
	}
	if sent >= states {
		t.Errorf("the slow page was sent all of %d states, %d: nothing was skipped", states, sent)
	}
}

func TestSocket_WhoeverComesAnewIsSentTheWholeState(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	first := k.dial(t, k.public, "/ws/bay")
	first.next(t)
	k.desk.setBay(walked(t, func(w *round.BayWalk) { w.Step = "Wiper blades" }))
	first.shows(t, "far", "Wiper blades")
	_ = first.Close()
	again := k.dial(t, k.public, "/ws/bay").next(t)
	if len(again.Regions) != 4 || !slices.ContainsFunc(again.Regions, func(r wireRegion) bool { return strings.Contains(r.HTML, "Wiper blades") }) {
		t.Errorf("the first frame after coming back holds %d regions", len(again.Regions))
	}
}

// After the whole state come only regions that changed.
func TestSocket_OnlyWhatChangedIsSent(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	p := k.dial(t, k.public, "/ws/bay")
	p.next(t)
	b := wholeBay(t)
	b.Events = append([]round.BayEvent{{At: morning, Text: "WN12 round begun"}}, b.Events...)
	k.desk.setBay(b)
	w := p.until(t, func(w wire) bool { return len(w.Regions) > 0 })
	if len(w.Regions) != 1 || w.Regions[0].ID != "foot" {
		t.Errorf("a new event sent %d regions, the first %s", len(w.Regions), w.Regions[0].ID)
	}
}

func TestSocket_BeatsComeWithNothingNew(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	for _, path := range []string{"/ws/bay", "/ws/tablet"} {
		p := k.dial(t, k.inside, path)
		p.next(t)
		for range 3 {
			if w := p.next(t); len(w.Regions) != 0 || w.Beat.At != morning.UnixMilli() || !w.Beat.Live {
				t.Errorf("%s: a beat is %+v", path, w)
			}
		}
	}
}

// A page that does not answer pings is gone, even if its machine still takes bytes.
func TestSocket_WhoAnswersNoPingIsGone(t *testing.T) {
	l := quickLimits()
	l.pong = 500 * time.Millisecond
	k := serve(t, newDesk(wholeBay(t)), l)
	p := k.dial(t, k.public, "/ws/bay")
	p.SetPingHandler(func(string) error { return nil }) // answers nothing
	if code := p.end(t); code != websocket.CloseTryAgainLater {
		t.Errorf("closed with %d", code)
	}
}

func TestServer_CloseTellsAllPagesAndLeavesNothingRunning(t *testing.T) {
	k := serve(t, newDesk(wholeBay(t)), quickLimits())
	var pages []*page
	for range 8 {
		pages = append(pages, k.dial(t, k.inside, "/ws/tablet"), k.dial(t, k.inside, "/ws/bay"), k.dial(t, k.public, "/ws/bay"))
	}
	for i, p := range pages {
		p.next(t)
		switch i % 4 {
		case 1:
			_ = p.UnderlyingConn().Close() // no word of farewell
		case 2:
			p.send(t, websocket.BinaryMessage, "x")
		case 3:
			p.send(t, websocket.CloseMessage, "")
		}
	}
	deadline := time.Now().Add(tooLong)
	k.Close()
	for i := 0; i < len(pages); i += 4 {
		if code := pages[i].end(t); code != websocket.CloseGoingAway {
			t.Errorf("page %d was closed with %d", i, code)
		}
	}
	if n := k.tablet.count() + k.Server.inside.count() + k.Server.public.count(); n != 0 {
		t.Errorf("%d sockets are still known", n)
	}
	for left := running(t); left != ""; left = running(t) {
		if time.Now().After(deadline) {
			t.Fatalf("still running:\n%s", left)
		}
		runtime.Gosched() // a goroutine that has done its last may not have left yet
	}
	if _, answer, err := dialWith(t, k.inside, "/ws/tablet", nil); err == nil || answer.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("after Close a socket is answered %v, %v", answer, err)
	}
}

// running is the stacks of all goroutines if one of them belongs to a server's
// sockets or drawing, else empty.
func running(t *testing.T) string {
	t.Helper()
	var stacks strings.Builder
	if err := pprof.Lookup("goroutine").WriteTo(&stacks, 2); err != nil {
		t.Fatal(err)
	}
	for _, ours := range []string{"screen.(*hub)", "screen.(*socket)", "screen.(*Server).look"} {
		if strings.Contains(stacks.String(), ours) {
			return stacks.String()
		}
	}
	return ""
}
