package rpc

import (
	"context"
	"errors"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// admission lets calls in by who makes them. Without a gate, in plain text, everybody
// may do everything: whoever serves so sees to it that only this machine can call.
type admission struct {
	gate    *trust.Gate // nil in plain text
	denials *denials
}

// check refuses a call that its caller may not make.
func (a *admission) check(ctx context.Context, method string) (trust.Caller, error) {
	if a.gate == nil {
		return trust.Caller{}, nil
	}
	from, known := connectionOf(ctx)
	if !known {
		return trust.Caller{}, errNoTLS
	}
	err := a.gate.May(from.caller, method)
	if f := (*fault.Fault)(nil); errors.As(err, &f) {
		a.refused(from, addressOf(ctx), method, f)
	}
	return from.caller, err
}

// refused counts a refusal. Who is not let in by this certificate may have another
// one soon.
func (a *admission) refused(from identified, address, method string, why *fault.Fault) {
	a.denials.note(from.caller, address, method, why.Reason)
	if why.Kind == fault.Unidentified && from.caller.Name != "" {
		from.hangUp()
	}
}

// unary lets a call with one request in.
func (a *admission) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
	caller, err := a.check(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	resp, err := handle(station.SentBy(ctx, a.sender(caller)), req)
	if f := (*fault.Fault)(nil); errors.As(err, &f) && f.Kind == fault.Denied {
		a.denials.note(caller, addressOf(ctx), info.FullMethod, f.Reason) // let in, and not believed
	}
	return resp, err
}

// sender is a caller as the record names it.
func (a *admission) sender(caller trust.Caller) *pb.Sender {
	if a.gate == nil {
		return &pb.Sender{PlainText: true}
	}
	return &pb.Sender{Client: caller.Name, Role: caller.Role, CertificateSha256: caller.CertificateSHA256}
}

// stream lets a stream in, and ends it when its caller is let in no more.
func (a *admission) stream(srv any, stream grpc.ServerStream, info *grpc.StreamServerInfo, handle grpc.StreamHandler) error {
	caller, err := a.check(stream.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	sent := station.SentBy(stream.Context(), a.sender(caller))
	if a.gate == nil || caller.Name == "" { // what anyone may call ends with nobody's certificate
		return handle(srv, &streamWith{ServerStream: stream, ctx: sent})
	}
	ctx, release := a.gate.Bind(sent, caller)
	defer release()
	err = handle(srv, &streamWith{ServerStream: stream, ctx: ctx})
	if f := (*fault.Fault)(nil); errors.As(context.Cause(ctx), &f) {
		if from, known := connectionOf(ctx); known {
			a.refused(from, addressOf(ctx), info.FullMethod, f)
		}
		return f
	}
	return err
}
