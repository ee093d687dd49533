package rpc

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// chain is everything that happens to every call. From the outside in: one
// account of the call (request id, log, metrics, the status it ends with), who may
// make it, a header that says when the record is behind, the deadline, the rules of the proto. Whatever is inside returns faults.
type chain struct {
	logger    *slog.Logger
	meter     *meter
	deadline  time.Duration
	validator protovalidate.Validator
	stop      *stopSignal
	patience  time.Duration               // how long a stream of events may take nothing
	sending   sync.WaitGroup              // goroutines that send on streams beside their handlers
	record    grpc.UnaryServerInterceptor // says when the record is behind
	admission *admission                  // says who may call what
}

// unary is the order for calls with one request and one answer.
func (c *chain) unary() []grpc.UnaryServerInterceptor {
	return []grpc.UnaryServerInterceptor{c.accountUnary, c.admission.unary, c.record, c.deadlineUnary, c.validateUnary}
}

// stream is the order for streams. They have no deadline: they last as long as
// the caller listens or the station serves.
func (c *chain) stream() []grpc.StreamServerInterceptor {
	return []grpc.StreamServerInterceptor{c.accountStream, c.admission.stream, c.stoppable}
}

// accountUnary gives the call its id, keeps the books about it and turns what it
// returned into a status.
func (c *chain) accountUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
	call := c.begin(ctx, info.FullMethod, true)
	defer call.dying()
	resp, err := handle(ctx, req)
	return resp, call.end(ctx, err)
}

// accountStream does the same for a stream.
func (c *chain) accountStream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
	call := c.begin(stream.Context(), info.FullMethod, false)
	defer call.dying()
	defer c.meter.opened(info.FullMethod)()
	return call.end(stream.Context(), handle(srv, stream))
}

// deadlineUnary gives a call that brought no deadline ours.
func (c *chain) deadlineUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
	if _, has := ctx.Deadline(); has {
		return handle(ctx, req)
	}
	ctx, cancel := context.WithTimeout(ctx, c.deadline)
	defer cancel()
	return handle(ctx, req)
}

// validateUnary lets a request in only when it keeps the rules of the proto.
func (c *chain) validateUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
	if err := c.check(req); err != nil {
		return nil, err
	}
	return handle(ctx, req)
}

// check holds one message against the rules of the proto.
func (c *chain) check(req any) error {
	message, ok := req.(proto.Message)
	if !ok {
		return nil
	}
	if !readable(message) {
		return unreadable()
	}
	return inOurWords(c.validator.Validate(message))
}

// stoppable ends a stream when the server stops, whether it is waiting to say
// something or to hear something.
func (c *chain) stoppable(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
	ctx, release := c.stop.bind(stream.Context())
	defer release()
	err := handle(srv, &checkedStream{streamWith: streamWith{ServerStream: stream, ctx: ctx}, check: c.checkFor(info)})
	if errors.Is(context.Cause(ctx), errStopping) && endedByContext(err) {
		return stopping()
	}
	return err
}

// endedByContext reports whether a handler gave up because its context did.
// gRPC's own health service wraps that in a status.
func endedByContext(err error) bool {
	if errors.Is(err, context.Canceled) || errors.Is(err, errStopping) {
		return true
	}
	return err != nil && status.Code(err) == status.FromContextError(context.Canceled).Code()
}

// streamWith is a stream with another context.
type streamWith struct {
	grpc.ServerStream
	ctx context.Context //nolint:containedctx // a ServerStream has one; this is how it is replaced
}

// Context returns the other context.
func (s *streamWith) Context() context.Context { return s.ctx }

// checkedStream holds what comes in against the rules of the proto.
type checkedStream struct {
	streamWith
	check func(any) error
}

// RecvMsg reads the next message; one that cannot be read or breaks a rule is refused.
func (s *checkedStream) RecvMsg(into any) error {
	if err := s.ServerStream.RecvMsg(into); err != nil {
		return err
	}
	return s.check(into)
}

// checkFor is the check for the messages of one stream. Where the caller streams,
// a bad message must not end the stream; its handler checks and answers each.
func (c *chain) checkFor(info *grpc.StreamServerInfo) func(any) error {
	if info.IsClientStream {
		return func(any) error { return nil }
	}
	return c.check
}
