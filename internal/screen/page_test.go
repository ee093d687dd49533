package screen

import (
	"context"
	"encoding/json"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/gorilla/websocket"
)

// quickLimits are those of shipped code with a quick beat, for tests that wait for one.
func quickLimits() limits {
	l := defaultLimits()
	l.beat, l.ping = 20*time.Millisecond, 50*time.Millisecond
	return l
}

// tooLong ends a test that would wait for ever; it bounds nothing that is tested.
const tooLong = time.Minute

// page is a browser's page as far as its socket goes.
type page struct {
	*websocket.Conn
	regions map[string]string
	frames  int
}

// dialWith opens a socket and gives the server's answer to the request for it.
func dialWith(t testing.TB, server *httptest.Server, path string, change func(*websocket.Dialer, http.Header)) (*page, *http.Response, error) {
	t.Helper()
	header := http.Header{"Origin": {server.URL}}
	dialer := &websocket.Dialer{HandshakeTimeout: tooLong}
	if change != nil {
		change(dialer, header)
	}
	conn, answer, err := dialer.Dial("ws"+strings.TrimPrefix(server.URL, "http")+path, header)
	if err != nil {
		return nil, answer, err
	}
	t.Cleanup(func() { _ = conn.Close() })
	conn.SetPingHandler(func(text string) error { // like a browser, reads on when its answer finds nobody
		_ = conn.WriteControl(websocket.PongMessage, []byte(text), time.Now().Add(tooLong))
		return nil
	})
	return &page{Conn: conn, regions: map[string]string{}}, answer, nil
}

func (k *kit) dial(t testing.TB, server *httptest.Server, path string) *page {
	t.Helper()
	p, _, err := dialWith(t, server, path, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// deaf has the kernel keep little of what the page does not read.
func deaf(d *websocket.Dialer, _ http.Header) {
	plain := net.Dialer{Control: func(_, _ string, c syscall.RawConn) error {
		var set error
		if err := c.Control(func(fd uintptr) {
			set = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 4<<10)
		}); err != nil {
			return err
		}
		return set
	}}
	d.NetDialContext = func(ctx context.Context, network, address string) (net.Conn, error) {
		return plain.DialContext(ctx, network, address)
	}
}

// next reads one frame and shows it.
func (p *page) next(t testing.TB) wire {
	t.Helper()
	_ = p.SetReadDeadline(time.Now().Add(tooLong)) // a closed socket says so when it is read
	_, frame, err := p.ReadMessage()
	if err != nil {
		t.Fatalf("reading a frame: %v", err)
	}
	var w wire
	if err := json.Unmarshal(frame, &w); err != nil {
		t.Fatalf("frame %q: %v", frame, err)
	}
	for _, r := range w.Regions {
		p.regions[r.ID] = r.HTML
	}
	p.frames++
	return w
}

// until shows frames until one is as wanted.
func (p *page) until(t testing.TB, wanted func(wire) bool) wire {
	t.Helper()
	for {
		if w := p.next(t); wanted(w) {
			return w
		}
	}
}

// shows waits until a region holds a text.
func (p *page) shows(t testing.TB, id, text string) {
	t.Helper()
	for !strings.Contains(p.regions[id], text) {
		p.next(t)
	}
}

// end reads until the socket is closed and gives the code it was closed with, 0 for none.
func (p *page) end(t testing.TB) int {
	t.Helper()
	_ = p.SetReadDeadline(time.Now().Add(tooLong)) // as above
	for {
		_, _, err := p.ReadMessage()
		if err == nil {
			continue
		}
		var closed *websocket.CloseError
		if c, ok := err.(*websocket.CloseError); ok {
			closed = c
			return closed.Code
		}
		if timeout, ok := err.(net.Error); ok && timeout.Timeout() {
			t.Fatal("the socket was not closed")
		}
		return 0
	}
}

func (p *page) send(t testing.TB, kind int, content string) {
	t.Helper()
	if err := p.WriteMessage(kind, []byte(content)); err != nil {
		t.Fatal(err)
	}
}
