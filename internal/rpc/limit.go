package rpc

import (
	"log/slog"
	"net"
	"sync"
)

// limited is a listener that serves so many connections at a time. One more is
// closed at once, so that its caller hears of it and tries again later, instead of
// waiting in line without a word.
type limited struct {
	net.Listener
	slots  chan struct{} // holds one for each connection
	logger *slog.Logger
	full   bool // the log was told; owned by the goroutine that accepts
}

func limit(l net.Listener, connections int, logger *slog.Logger) *limited {
	return &limited{Listener: l, slots: make(chan struct{}, connections), logger: logger}
}

// Accept returns the next connection for which there is room.
func (l *limited) Accept() (net.Conn, error) {
	for {
		conn, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		select {
		case l.slots <- struct{}{}:
			l.full = false
			return &countedConn{Conn: conn, leave: sync.OnceFunc(func() { <-l.slots })}, nil
		default:
			l.refuse(conn)
		}
	}
}

func (l *limited) refuse(conn net.Conn) {
	if !l.full {
		l.logger.Warn("as many connections as are served at a time; more are closed", "connections", cap(l.slots), "caller", conn.RemoteAddr().String())
	}
	l.full = true
	_ = conn.Close() // nothing was said on it yet
}

// countedConn makes room for another when it is closed.
type countedConn struct {
	net.Conn
	leave func()
}

// Close closes the connection; its room is free then.
func (c *countedConn) Close() error {
	defer c.leave()
	return c.Conn.Close()
}
