package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bayround/internal/fault"
)

// Reasons of what no station said.
const (
	reasonNotReached = "NOT_REACHED"
	reasonLate       = "DEADLINE_EXCEEDED"
)

// kindOf is codeOf the other way round; false for codes that are no fault's.
func kindOf(code codes.Code) (fault.Kind, bool) {
	if code == codes.DeadlineExceeded {
		return fault.Unavailable, true // nobody knows whether it was done: repeat with the same id
	}
	for kind := fault.Invalid; kind <= fault.Unidentified; kind++ {
		if codeOf(kind) == code {
			return kind, true
		}
	}
	return 0, false
}

// asFault turns what a call returned into the fault it was on the station's side.
// A station that cannot be reached is Unavailable, with reason NOT_REACHED. The end
// of a stream and a cancelled call stay what they are; of what is no fault, a bug of
// the station for instance, the words are left and nothing of gRPC.
func asFault(err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return err
	}
	s, ok := status.FromError(err)
	if !ok {
		return err
	}
	if s.Code() == codes.Canceled {
		return context.Canceled
	}
	kind, ok := kindOf(s.Code())
	if !ok {
		return inWords(s)
	}
	f := fault.New(kind, reasonNotReached, "%s", s.Message())
	if s.Code() == codes.DeadlineExceeded {
		f.Reason = reasonLate
	}
	for _, detail := range s.Details() {
		f = readDetail(f, detail)
	}
	return f
}

// inWords is an error that is no fault. The log of the station may know more of
// it, under the id of the request.
func inWords(s *status.Status) error {
	if s.Code() == codes.Unimplemented {
		return fmt.Errorf("the station does not know this call, it is of another version: %s", s.Message())
	}
	for _, detail := range s.Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok && info.GetMetadata()["request_id"] != "" {
			return fmt.Errorf("%s (request %s)", s.Message(), info.GetMetadata()["request_id"])
		}
	}
	return errors.New(s.Message())
}

func readDetail(f *fault.Fault, detail any) *fault.Fault {
	switch d := detail.(type) {
	case *errdetails.ErrorInfo:
		f.Reason = d.GetReason()
		if left := d.GetMetadata()["violations_left_out"]; left != "" {
			f.Message = strings.TrimSuffix(f.Message, ".") + " (" + left + " more are not listed)"
		}
	case *errdetails.BadRequest:
		for _, v := range d.GetFieldViolations() {
			f = f.At(v.GetField(), "%s", v.GetDescription())
		}
	case *errdetails.PreconditionFailure:
		for _, v := range d.GetViolations() {
			if v.GetSubject() != "" {
				f = f.At(v.GetSubject(), "%s", v.GetDescription())
			}
		}
	}
	return f
}

// faultsOfUnary is the client's interceptor for calls with one answer.
func faultsOfUnary(ctx context.Context, method string, req, resp any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
	return asFault(invoke(ctx, method, req, resp, conn, options...))
}

// faultsOfStream is the client's interceptor for streams.
func faultsOfStream(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, method string, open grpc.Streamer, options ...grpc.CallOption) (grpc.ClientStream, error) {
	stream, err := open(ctx, desc, conn, method, options...)
	if err != nil {
		return nil, asFault(err)
	}
	return faultStream{stream}, nil
}

// faultStream is a stream whose errors are faults again.
type faultStream struct{ grpc.ClientStream }

// SendMsg sends; io.EOF means that RecvMsg knows why the stream ended.
func (s faultStream) SendMsg(m any) error { return asFault(s.ClientStream.SendMsg(m)) }

// RecvMsg receives.
func (s faultStream) RecvMsg(m any) error { return asFault(s.ClientStream.RecvMsg(m)) }

// CloseSend ends the sending side.
func (s faultStream) CloseSend() error { return asFault(s.ClientStream.CloseSend()) }
