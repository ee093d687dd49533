package rpc

import (
	"context"
	"errors"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"bayround/internal/fault"
)

// domain is the google.rpc.ErrorInfo domain of all our reasons.
const domain = "bayround"

// Clients in other languages accept about 8 KiB of trailers, details in base64
// included. What does not fit is left out and counted, never sent and lost whole.
const (
	maxMessageBytes = 1500
	maxDetailBytes  = 3500
)

// codeOf is the one table from kinds of fault to codes.
func codeOf(kind fault.Kind) codes.Code {
	switch kind {
	case fault.Invalid:
		return codes.InvalidArgument
	case fault.NotFound:
		return codes.NotFound
	case fault.Exists:
		return codes.AlreadyExists
	case fault.Precondition:
		return codes.FailedPrecondition
	case fault.Stale:
		return codes.Aborted
	case fault.Denied:
		return codes.PermissionDenied
	case fault.Exhausted:
		return codes.ResourceExhausted
	case fault.Unavailable:
		return codes.Unavailable
	case fault.Lost:
		return codes.DataLoss
	case fault.OutOfRange:
		return codes.OutOfRange
	case fault.Unidentified:
		return codes.Unauthenticated
	default:
		return codes.Internal
	}
}

// toStatus is the only place where an error becomes a gRPC status. What it does
// not know is Internal, and its text stays in the log, under requestID.
func toStatus(err error, requestID string) *status.Status {
	if err == nil {
		return status.New(codes.OK, "")
	}
	var f *fault.Fault
	if errors.As(err, &f) && codeOf(f.Kind) != codes.Internal {
		return withDetails(f)
	}
	switch {
	case errors.Is(err, context.Canceled):
		return status.New(codes.Canceled, "the caller went away before there was an answer")
	case errors.Is(err, context.DeadlineExceeded):
		return status.New(codes.DeadlineExceeded, "the time the caller gave ran out; the call may have been carried out: repeat it with the same id")
	}
	if s, ok := transportStatus(err); ok {
		return s
	}
	internal := status.New(codes.Internal, "the station could not do this; its log says why")
	return attach(internal, &errdetails.ErrorInfo{
		Reason: "INTERNAL", Domain: domain, Metadata: map[string]string{"request_id": requestID},
	})
}

// transportStatus passes on what gRPC itself says of a stream that broke or a
// message that could not be read; no code of ours makes such errors.
func transportStatus(err error) (*status.Status, bool) {
	s, ok := status.FromError(err)
	if !ok || s.Code() == codes.Unknown {
		return nil, false
	}
	return s, true
}

// withDetails is the status of a fault with everything a program may want.
func withDetails(f *fault.Fault) *status.Status {
	info := &errdetails.ErrorInfo{Reason: f.Reason, Domain: domain}
	fields, left := fitting(f.Fields)
	if left != "" {
		info.Metadata = map[string]string{"violations_left_out": left}
	}
	details := []protoadapt.MessageV1{info}
	switch {
	case f.Kind == fault.Precondition:
		details = append(details, preconditionFailure(f, fields))
	case f.Kind == fault.Invalid || len(fields) > 0:
		details = append(details, badRequest(fields))
	}
	if f.Kind == fault.Unavailable {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(retryDelay)})
	}
	return attach(status.New(codeOf(f.Kind), cut(f.Message, maxMessageBytes)), details...)
}

func badRequest(fields []fault.Field) *errdetails.BadRequest {
	b := &errdetails.BadRequest{}
	for _, field := range fields {
		b.FieldViolations = append(b.FieldViolations, &errdetails.BadRequest_FieldViolation{Field: field.Path, Description: field.Message})
	}
	return b
}

func preconditionFailure(f *fault.Fault, fields []fault.Field) *errdetails.PreconditionFailure {
	p := &errdetails.PreconditionFailure{}
	for _, field := range fields {
		p.Violations = append(p.Violations, &errdetails.PreconditionFailure_Violation{Type: f.Reason, Subject: field.Path, Description: field.Message})
	}
	if len(fields) == 0 {
		p.Violations = []*errdetails.PreconditionFailure_Violation{{Type: f.Reason, Description: cut(f.Message, maxMessageBytes)}}
	}
	return p
}

// attach adds details; a status that cannot carry them goes without.
func attach(s *status.Status, details ...protoadapt.MessageV1) *status.Status {
	with, err := s.WithDetails(details...)
	if err != nil {
		return s
	}
	return with
}
