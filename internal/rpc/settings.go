package rpc

import (
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"

	"bayround/internal/fault"
)

// Both sides use the same small fixed buffers and windows. Fixed windows stop
// the pings that would otherwise accompany messages to estimate bandwidth. Write
// buffers are shared between connections, as gRPC does unless told otherwise.
const (
	bufferBytes = 4 << 10
	windowBytes = 1 << 17
	maxRequest  = 1 << 20
)

// serverKeepalive finds a dead peer within 15 seconds and lets no connection
// outlive a change of certificate by more than an hour.
func serverKeepalive() keepalive.ServerParameters {
	return keepalive.ServerParameters{
		Time:                  10 * time.Second,
		Timeout:               5 * time.Second,
		MaxConnectionAge:      time.Hour,
		MaxConnectionAgeGrace: 30 * time.Second,
	}
}

// clientKeepalive finds a dead station within 15 seconds, also while nothing is asked.
func clientKeepalive() keepalive.ClientParameters {
	return keepalive.ClientParameters{Time: 10 * time.Second, Timeout: 5 * time.Second, PermitWithoutStream: true}
}

// settings are the options of every server of ours.
func settings(o Options, c *chain) []grpc.ServerOption {
	server := leanServer(o.StreamsPerConnection)
	if o.Gate != nil {
		server = append(server, grpc.Creds(newHandshakes(o.Gate)))
	}
	return append(server,
		grpc.ForceServerCodecV2(newCodec()),
		grpc.ChainUnaryInterceptor(c.unary()...),
		grpc.ChainStreamInterceptor(c.stream()...),
	)
}

// leanServer is what a server has before it knows any of our messages. The
// benchmarks' floor uses it too.
func leanServer(streams uint32) []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.KeepaliveParams(serverKeepalive()),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 5 * time.Second, PermitWithoutStream: true}),
		grpc.MaxConcurrentStreams(streams),
		grpc.MaxRecvMsgSize(maxRequest),
		grpc.WaitForHandlers(true),
		grpc.WriteBufferSize(bufferBytes),
		grpc.ReadBufferSize(bufferBytes),
		grpc.StaticStreamWindowSize(windowBytes),
		grpc.StaticConnWindowSize(windowBytes),
	}
}

// leanClient is the client's side of the same.
func leanClient() []grpc.DialOption {
	return []grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithKeepaliveParams(clientKeepalive()),
		grpc.WithWriteBufferSize(bufferBytes),
		grpc.WithReadBufferSize(bufferBytes),
		grpc.WithStaticStreamWindowSize(windowBytes),
		grpc.WithStaticConnWindowSize(windowBytes),
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 200 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 10 * time.Second},
			MinConnectTimeout: 5 * time.Second,
		}),
	}
}

// Dial returns a plain-text connection to a station on this very machine, made when
// it is first used; other addresses are refused. Errors of calls on it are faults
// again (see internal/fault), so that nobody above this package needs to know status
// codes.
func Dial(address string, more ...grpc.DialOption) (*grpc.ClientConn, error) {
	if !Loopback(address) {
		return nil, fault.New(fault.Invalid, "PLAIN_TEXT", "%q is not this machine, and nothing is told to other machines in plain text", address)
	}
	return dial(address, append(faults(), more...)...)
}

// faults makes errors of calls faults again.
func faults() []grpc.DialOption {
	return []grpc.DialOption{grpc.WithChainUnaryInterceptor(faultsOfUnary), grpc.WithChainStreamInterceptor(faultsOfStream)}
}

func dial(address string, more ...grpc.DialOption) (*grpc.ClientConn, error) {
	conn, err := grpc.NewClient(address, append(leanClient(), more...)...)
	if err != nil {
		return nil, fmt.Errorf("connecting to %q: %w", address, err)
	}
	return conn, nil
}
