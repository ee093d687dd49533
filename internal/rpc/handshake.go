package rpc

import (
	"context"
	"errors"
	"net"
	"sync"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/peer"

	"bayround/internal/trust"
)

// handshakes is TLS that finds out once, when a connection is made, who is at its
// other end.
type handshakes struct {
	credentials.TransportCredentials
	gate *trust.Gate
}

func newHandshakes(gate *trust.Gate) credentials.TransportCredentials {
	return handshakes{credentials.NewTLS(gate.Config()), gate}
}

// ServerHandshake is the station's side.
func (h handshakes) ServerHandshake(raw net.Conn) (net.Conn, credentials.AuthInfo, error) {
	conn, info, err := h.TransportCredentials.ServerHandshake(raw)
	if err != nil {
		return nil, nil, err
	}
	secured, ok := info.(credentials.TLSInfo)
	if !ok {
		return nil, nil, errors.Join(errNoTLS, conn.Close())
	}
	hangUp := sync.OnceFunc(func() { time.AfterFunc(hangUpAfter, func() { _ = conn.Close() }) })
	return conn, identified{secured, h.gate.Identify(secured.State.PeerCertificates), hangUp}, nil
}

// Clone returns a copy.
func (h handshakes) Clone() credentials.TransportCredentials {
	return handshakes{h.TransportCredentials.Clone(), h.gate}
}

// hangUpAfter is how long after a refusal a connection is closed, so that the refusal
// is read before.
const hangUpAfter = time.Second

// identified is what is known of a connection.
type identified struct {
	credentials.TLSInfo
	caller trust.Caller
	// hangUp closes the connection soon: whoever was refused and gets another
	// certificate must show it on another connection.
	hangUp func()
}

var errNoTLS = errors.New("a connection says nothing of its TLS")

// connectionOf is what is known of a call's connection; false where the station
// serves in plain text.
func connectionOf(ctx context.Context) (identified, bool) {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return identified{}, false
	}
	known, ok := p.AuthInfo.(identified)
	return known, ok
}

// callerOf is who makes a call; nobody where the station serves in plain text.
func callerOf(ctx context.Context) trust.Caller {
	known, _ := connectionOf(ctx)
	return known.caller
}

// addressOf is the network address of a caller, without its port.
func addressOf(ctx context.Context) string {
	host, _, err := net.SplitHostPort(peerOf(ctx))
	if err != nil {
		return peerOf(ctx)
	}
	return host
}
