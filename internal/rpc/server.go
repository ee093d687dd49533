package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/reflection"

	"bayround/internal/access"
	"bayround/internal/photo"
	"bayround/internal/station"
	"bayround/internal/trust"
)

// Options are what a Server is told from outside. The zero value serves with the
// documented limits, says nothing in logs and counts nothing.
type Options struct {
	// Logger hears of every call: refusals and faults by default, answers at
	// debug level. nil for silence.
	Logger *slog.Logger
	// Metrics is where counters, durations and gauges are registered; nil for none.
	Metrics prometheus.Registerer
	// Deadline is given to a unary call that brings none, and to each result of
	// a RecordResults stream; 0 for 5 s.
	Deadline time.Duration
	// StopAfter is how long Stop waits for calls to end by themselves; 0 for 8 s.
	StopAfter time.Duration
	// StreamsPerConnection is how many calls and watches one connection may have
	// open; 0 for 64. A reader of a thousand watches uses several connections.
	StreamsPerConnection uint32
	// Photos is where photos are kept; nil for nowhere: PhotoService says so then.
	// The caller opens it.
	Photos *photo.Store
	// Badges hashes badges, and tablets are given its key; nil for none. The caller opens it.
	Badges *access.Badges
	// Connections is how many are served at a time; one more is closed at once.
	// 0 for 256.
	Connections int
	// Gate says who may come in; nil serves in plain text and lets everybody in, so
	// that the caller must see to it that nobody but this machine can. The caller opens
	// it and keeps its certificates fresh (Gate.Run).
	Gate *trust.Gate
	// DenialsEvery is how often refused calls are summed up in the record; 0 for 10 min.
	DenialsEvery time.Duration
	// Patience is how long a Follow stream may take nothing before it is ended
	// with the token to go on from; 0 for 15 s.
	Patience time.Duration
}

// withDefaults fills in what was left out.
func (o Options) withDefaults() Options {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Deadline == 0 {
		o.Deadline = 5 * time.Second
	}
	if o.StopAfter == 0 {
		o.StopAfter = 8 * time.Second
	}
	if o.StreamsPerConnection == 0 {
		o.StreamsPerConnection = 64
	}
	if o.Connections == 0 {
		o.Connections = 256
	}
	if o.DenialsEvery == 0 {
		o.DenialsEvery = denialsEvery
	}
	if o.Patience == 0 {
		o.Patience = 15 * time.Second
	}
	return o
}

// Server serves one station. Make it with New.
type Server struct {
	options  Options
	grpc     *grpc.Server
	health   *health.Server
	services []string // full names of what health answers for, the empty name included
	stop     *stopSignal
	sending  *sync.WaitGroup // goroutines that send on streams beside their handlers
	stopped  sync.Once
	summing  *summing
}

// New makes a server for a station that is open, and so has its journal replayed.
// It answers from Serve on. The error is a fault of this program's own making
// (rules in the proto that do not compile, metrics registered twice).
func New(st *station.Station, o Options) (*Server, error) { return newServer(st, o) }

// newServer is New with further options of gRPC; interceptors among them stand
// nearest to the handlers.
func newServer(st *station.Station, o Options, further ...grpc.ServerOption) (*Server, error) {
	o = o.withDefaults()
	validator, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("compiling the rules of the proto: %w", err)
	}
	meter, err := newMeter(o.Metrics, st)
	if err != nil {
		return nil, fmt.Errorf("registering metrics: %w", err)
	}
	chain := &chain{
		logger: o.Logger, meter: meter, deadline: o.Deadline, validator: validator, stop: newStopSignal(), patience: o.Patience,
		record: tellRecord(st), admission: &admission{gate: o.Gate, denials: newDenials(st, o.Logger, o.DenialsEvery)},
	}
	s := &Server{
		options: o,
		grpc:    grpc.NewServer(append(settings(o, chain), further...)...),
		health:  health.NewServer(),
		stop:    chain.stop,
		sending: &chain.sending,
		summing: newSumming(chain.admission.denials),
	}
	registerServices(s.grpc, st, o, chain)
	s.registerHealth()
	reflection.Register(s.grpc)
	return s, nil
}

// Serve answers on listener until Stop, and returns nil then. It closes the listener.
func (s *Server) Serve(listener net.Listener) error {
	s.setServing(true)
	s.summing.begin()
	if err := s.grpc.Serve(limit(listener, s.options.Connections, s.options.Logger)); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serving on %s: %w", listener.Addr(), err)
	}
	return nil
}

// Stop says NOT_SERVING, ends every stream with UNAVAILABLE, takes no more calls,
// waits for those that run, and cuts off what is left when StopAfter or ctx is
// over. It returns when no handler runs any more. Calling it again waits too.
func (s *Server) Stop(ctx context.Context) {
	s.stopped.Do(func() { s.stopOnce(ctx) })
}

func (s *Server) stopOnce(ctx context.Context) {
	s.health.Shutdown()
	s.stop.send()
	ctx, cancel := context.WithTimeout(ctx, s.options.StopAfter)
	defer cancel()
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.grpc.GracefulStop()
	}()
	select {
	case <-done:
	case <-ctx.Done():
		s.options.Logger.Warn("calls did not end by themselves and are cut off")
		s.grpc.Stop()
		<-done
	}
	s.sending.Wait()
	s.summing.end()
}
