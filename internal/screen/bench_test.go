package screen

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"bayround/internal/round"

	"github.com/gorilla/websocket"
)

const displays = 1000

// audience is many open displays. Each says over heard when a frame came that holds
// the word of the event; beats hold none.
type audience struct{ heard chan struct{} }

var eventWord = []byte("WN12 round begun")

// attend opens the displays and waits until all have been sent something, so that
// none is still on its way.
func attend(b *testing.B, server *httptest.Server, path string) *audience {
	b.Helper()
	a := &audience{heard: make(chan struct{}, displays)}
	var arrived sync.WaitGroup
	for range displays {
		p, _, err := dialWith(b, server, path, nil)
		if err != nil {
			b.Fatal(err)
		}
		arrived.Add(1)
		go a.listen(p.Conn, sync.OnceFunc(arrived.Done))
	}
	arrived.Wait()
	return a
}

func (a *audience) listen(conn *websocket.Conn, arrived func()) {
	defer arrived()
	for {
		_, frame, err := conn.ReadMessage()
		if err != nil {
			return
		}
		arrived()
		if bytes.Contains(frame, eventWord) {
			a.heard <- struct{}{}
		}
	}
}

func (a *audience) all() {
	for range displays {
		<-a.heard
	}
}

// bare is a broadcast with gorilla and nothing else: one prepared message, written to
// each socket in turn.
type bare struct {
	mu    sync.Mutex
	conns []*websocket.Conn
}

func (s *bare) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	upgrader := websocket.Upgrader{ReadBufferSize: 1 << 10, WriteBufferSize: 4 << 10}
	conn, err := upgrader.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	if err := conn.WriteMessage(websocket.TextMessage, []byte("{}")); err != nil {
		return
	}
	s.mu.Lock()
	s.conns = append(s.conns, conn)
	s.mu.Unlock()
	for {
		if _, _, err := conn.ReadMessage(); err != nil {
			return
		}
	}
}

func (s *bare) broadcast(b *testing.B, frame []byte) {
	b.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	m, err := websocket.NewPreparedMessage(websocket.TextMessage, frame)
	if err != nil {
		b.Fatal(err)
	}
	for _, conn := range s.conns {
		if err := conn.WritePreparedMessage(m); err != nil {
			b.Fatal(err)
		}
	}
}

// eventBay is the county's board at its n-th event: the rows and the foot change.
func eventBay(b *testing.B, base *round.Bay, n int) *round.Bay {
	b.Helper()
	bay := *base
	bay.Version = uint64(n)
	bay.Vehicles = slices.Clone(base.Vehicles)
	slices.Reverse(bay.Vehicles[n%2:])
	bay.Events = []round.BayEvent{{At: morning, Text: fmt.Sprintf("%s %d", eventWord, n)}}
	return &bay
}

// A change at the desk to the last of a thousand displays, drawing and encoding
// included; the same bytes by a bare broadcast, in turns within the same run.
func BenchmarkBay_EventToAThousandDisplays(b *testing.B) {
	base := wholeBay(b)
	k := serve(b, newDesk(base), defaultLimits())
	ours := attend(b, k.public, "/ws/bay")
	plain := &bare{}
	server := httptest.NewServer(plain)
	b.Cleanup(server.Close)
	theirs := attend(b, server, "/")

	var mine, floor []time.Duration
	var sent int
	for n := 1; b.Loop(); n++ {
		bay := eventBay(b, base, n)
		start := time.Now()
		k.desk.setBay(bay)
		ours.all()
		mine = append(mine, time.Since(start))

		p := k.Server.public.current.Load()
		frame, err := p.wire(p.version - 1).encode()
		if err != nil {
			b.Fatal(err)
		}
		sent = len(frame)
		start = time.Now()
		plain.broadcast(b, frame)
		theirs.all()
		floor = append(floor, time.Since(start))
	}
	report(b, "last", mine)
	report(b, "bare", floor)
	b.ReportMetric(float64(median(mine))/float64(median(floor)), "x-bare")
	b.ReportMetric(float64(sent), "B/frame")
	b.ReportMetric(0, "ns/op") // a mixture of both
}

func median(all []time.Duration) time.Duration { return quantile(all, 0.5) }

func quantile(all []time.Duration, q float64) time.Duration {
	sorted := slices.Sorted(slices.Values(all))
	return sorted[min(int(q*float64(len(sorted))), len(sorted)-1)]
}

func report(b *testing.B, name string, all []time.Duration) {
	b.Helper()
	b.ReportMetric(float64(median(all))/1e6, name+"-p50-ms")
	b.ReportMetric(float64(quantile(all, 0.99))/1e6, name+"-p99-ms")
}

// A tap, sent over the socket, to the frame with the next prompt; the desk does
// nothing but show the next view.
func BenchmarkTablet_TapToTheNextPrompt(b *testing.B) {
	var views []*round.View
	samples := sampleViews(b)
	for _, name := range sampleNames(b) {
		if samples[name].Step != nil {
			views = append(views, samples[name])
		}
	}
	if len(views) < 2 {
		b.Fatalf("%d samples show a step", len(views))
	}
	desk := newDesk(wholeBay(b))
	turn := 0
	desk.answer = func(round.Act) *round.View {
		turn++
		return views[turn%len(views)]
	}
	k := serve(b, desk, defaultLimits())
	p := k.dial(b, k.inside, "/ws/tablet")
	boot := p.next(b).Boot
	var taps []time.Duration
	for n := 1; b.Loop(); n++ {
		id := fmt.Sprintf("%s.me.%d", boot, n)
		start := time.Now()
		p.send(b, websocket.TextMessage, `{"id":"`+id+`","act":"key","values":{"key":"7"}}`)
		changed := 0 // the regions may come in a frame of their own, ahead of the word that it is done
		p.until(b, func(w wire) bool {
			changed += len(w.Regions)
			return w.Ack == id
		})
		taps = append(taps, time.Since(start))
		if changed == 0 {
			b.Fatal("the tap changed no region")
		}
	}
	report(b, "tap", taps)
}

// One drawing of the board.
func BenchmarkBay_Draw(b *testing.B) {
	bay := wholeBay(b)
	for b.Loop() {
		regions, _, err := drawBay(bay, false, morning)
		if err != nil || !strings.Contains(regions[1].HTML, "WN11") {
			b.Fatal(err)
		}
	}
}
