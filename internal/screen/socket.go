package screen

import (
	"context"
	"errors"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/gorilla/websocket"
)

// Why a socket is closed, as RFC 6455 and its registry number it.
const (
	goingAway = websocket.CloseGoingAway
	notText   = websocket.CloseUnsupportedData
	malformed = websocket.ClosePolicyViolation
	tryAgain  = websocket.CloseTryAgainLater
)

// reply is what one socket alone is told about an act it sent.
type reply struct{ ack, refused string }

// socket is one page that looks on. Its writer goroutine alone writes frames; its
// reader, the goroutine of the request, alone reads.
type socket struct {
	conn    *websocket.Conn
	hub     *hub
	limits  limits
	wake    chan struct{} // holds one: the newest picture is all that counts
	replies chan reply
	cancel  context.CancelCauseFunc
}

// closing is an end that the page is told the reason of.
type closing struct {
	code int
	text string
}

// Error returns the reason in words.
func (c closing) Error() string { return c.text }

// rouse tells the writer that there is a newer picture. It never waits.
func (k *socket) rouse() {
	select {
	case k.wake <- struct{}{}:
	default: // it will find the newest when it wakes
	}
}

// hear is what a socket does with a text frame from its page.
type hear func(ctx context.Context, frame []byte) (reply, error)

// look serves one page until it goes, falls silent, is too slow or ctx ends.
func (s *Server) look(w http.ResponseWriter, r *http.Request, h *hub, most int, hear hear) {
	if !s.enter() {
		http.Error(w, "The kiosk's program ends.", http.StatusServiceUnavailable)
		return
	}
	defer s.running.Done()
	conn, err := s.upgrader.Upgrade(w, r, nil)
	if err != nil {
		s.log.Debug("upgrading to a socket", "error", err) // the answer has been sent
		return
	}
	ctx, cancel := context.WithCancelCause(s.life)
	k := &socket{
		conn: conn, hub: h, limits: s.limits,
		wake: make(chan struct{}, 1), replies: make(chan reply, 1), cancel: cancel,
	}
	defer cancel(nil)
	if !h.join(k, most) {
		k.bye(closing{tryAgain, "too many pages look on"})
		_ = conn.Close() // nothing more can be said
		return
	}
	defer h.leave(k)
	var writer sync.WaitGroup
	writer.Go(func() { k.write(ctx) })
	closed := make(chan struct{})
	context.AfterFunc(ctx, func() { // ends a read or a write that waits
		defer close(closed)
		if s.life.Err() != nil {
			k.bye(closing{goingAway, "the kiosk's program ends"})
		}
		_ = conn.Close() // nothing more can be said
	})
	k.read(ctx, hear)
	cancel(nil)
	writer.Wait()
	<-closed
}

// read hands what the page says to hear until the connection ends.
func (k *socket) read(ctx context.Context, hear hear) {
	k.conn.SetReadLimit(k.limits.frame)
	extend := func(string) error { return k.conn.SetReadDeadline(time.Now().Add(k.limits.pong)) }
	k.conn.SetPongHandler(extend)
	_ = extend("") // a connection already closed says so when it is read
	for {
		kind, frame, err := k.conn.ReadMessage()
		if timedOut(err) {
			k.end(closing{tryAgain, "nothing was heard for too long"})
			return
		}
		if err != nil {
			k.cancel(err)
			return
		}
		if kind != websocket.TextMessage {
			k.end(closing{notText, "only text is understood here"})
			return
		}
		answer, err := hear(ctx, frame)
		if err != nil {
			k.end(closing{malformed, err.Error()})
			return
		}
		select {
		case k.replies <- answer:
		case <-ctx.Done():
			return
		}
		_ = extend("") // an act may have taken its time
	}
}

func timedOut(err error) bool {
	var timeout net.Error
	return errors.As(err, &timeout) && timeout.Timeout()
}

// end has the writer say why before the connection is closed.
func (k *socket) end(why closing) {
	k.bye(why)
	k.cancel(why)
}

// bye may be called beside the writer: control frames are allowed to.
func (k *socket) bye(why closing) {
	text := websocket.FormatCloseMessage(why.code, why.text)
	_ = k.conn.WriteControl(websocket.CloseMessage, text, time.Now().Add(k.limits.farewell)) // best effort: it is leaving
}

// write sends the newest picture whenever there is one, and pings.
func (k *socket) write(ctx context.Context) {
	var seen uint64
	pinged := time.Now()
	for {
		var answer reply
		select {
		case <-ctx.Done():
			return
		case <-k.wake:
		case answer = <-k.replies:
		}
		p := k.hub.current.Load()
		err := k.show(p, seen, answer)
		if err == nil && time.Since(pinged) >= k.limits.ping {
			pinged = time.Now()
			err = k.conn.WriteControl(websocket.PingMessage, nil, pinged.Add(k.limits.write))
		}
		if err != nil {
			k.cancel(err) // a frame cut off in the middle leaves no room for a last word
			return
		}
		seen = p.version
	}
}

// show writes one frame. What answers an act is this socket's alone; all else is
// shared with the others.
func (k *socket) show(p *picture, seen uint64, answer reply) error {
	if err := k.conn.SetWriteDeadline(time.Now().Add(k.limits.write)); err != nil {
		return err
	}
	if answer == (reply{}) {
		m, err := p.after(seen)
		if err != nil {
			return err
		}
		return k.conn.WritePreparedMessage(m)
	}
	own := p.wire(seen)
	own.Ack, own.Refused = answer.ack, answer.refused
	frame, err := own.encode()
	if err != nil {
		return err
	}
	return k.conn.WriteMessage(websocket.TextMessage, frame)
}

var errDisplayIsMute = errors.New("a display has nothing to say")

// nothing is heard from a display.
func nothing(context.Context, []byte) (reply, error) { return reply{}, errDisplayIsMute }
