package rpc

import (
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"regexp"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"

	"bayround/internal/fault"
)

// requestIDHeader is where a caller may name its request.
const requestIDHeader = "x-request-id"

// requestIDPattern is what such a name may look like: it goes into our log.
var requestIDPattern = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// call is the account of one call.
type call struct {
	chain   *chain
	method  string
	id      string
	started time.Time
	unary   bool
	ended   bool
}

// begin opens the account of a call.
func (c *chain) begin(ctx context.Context, method string, unary bool) *call {
	return &call{chain: c, method: method, unary: unary, id: requestID(ctx), started: time.Now()}
}

// requestID is the caller's name for the request, or one of ours; the latter is
// made only when somebody will read it.
func requestID(ctx context.Context) string {
	for _, id := range metadata.ValueFromIncomingContext(ctx, requestIDHeader) {
		if requestIDPattern.MatchString(id) {
			return id
		}
	}
	return ""
}

// end closes the account: the error becomes a status, and the log and the
// metrics hear of it once.
func (c *call) end(ctx context.Context, err error) error {
	c.ended = true
	took := time.Since(c.started)
	if err != nil && c.id == "" {
		c.id = rand.Text()
	}
	s := toStatus(err, c.id)
	c.chain.meter.called(c.method, s.Code(), took, c.unary)
	level := levelOf(s.Code())
	if ended := (*fault.Fault)(nil); errors.As(err, &ended) {
		switch ended.Reason {
		case reasonStops:
			level = slog.LevelDebug // every open stream ends so; one line about the stop is enough
		case reasonTooSlow:
			level = slog.LevelWarn // the reader's trouble, not the station's
		}
	}
	if !c.chain.logger.Enabled(ctx, level) {
		return s.Err()
	}
	about := append(attrs(s.Code(), err, c.id), slog.String("method", c.method), slog.Duration("took", took), slog.String("peer", peerOf(ctx)))
	c.chain.logger.LogAttrs(ctx, level, "call", about...)
	return s.Err()
}

// attrs is what the log says of every outcome.
func attrs(code codes.Code, err error, requestID string) []slog.Attr {
	about := []slog.Attr{slog.String("code", code.String())}
	if requestID != "" {
		about = append(about, slog.String("request_id", requestID))
	}
	if err != nil {
		about = append(about, slog.String("cause", err.Error()))
	}
	return about
}

// dying is deferred around a handler: when it panics, the log hears in which
// call, and the panic goes on and ends the process.
func (c *call) dying() {
	if c.ended {
		return
	}
	if p := recover(); p != nil {
		c.chain.logger.Error("a handler panicked; the process ends", "method", c.method, "request_id", c.id, "panic", p)
		panic(p)
	}
}

// levelOf says how loud the end of a call is. What the journal records anyway is
// not said again unless asked for; what a caller did wrong is worth a line; what
// the station did wrong is an error.
func levelOf(code codes.Code) slog.Level {
	switch code {
	case codes.OK, codes.Canceled, codes.NotFound: // asking whether something is there is no mistake
		return slog.LevelDebug
	case codes.Unavailable, codes.DataLoss, codes.Internal, codes.Unknown:
		return slog.LevelError
	case codes.DeadlineExceeded, codes.ResourceExhausted:
		return slog.LevelWarn
	default:
		return slog.LevelInfo
	}
}

func peerOf(ctx context.Context) string {
	if p, ok := peer.FromContext(ctx); ok && p.Addr != nil {
		return p.Addr.String()
	}
	return ""
}
