package rpc

import (
	"context"
	"errors"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bayround/internal/fault"
)

// failing makes every call end with what err returns, as if its handler had.
func failing(err func() error) []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(func(context.Context, any, *grpc.UnaryServerInfo, grpc.UnaryHandler) (any, error) {
			return nil, err()
		}),
		grpc.ChainStreamInterceptor(func(_ any, stream grpc.ServerStream, _ *grpc.StreamServerInfo, _ grpc.StreamHandler) error {
			return err()
		}),
	}
}

func TestCalls_EveryMethodMapsEveryKindOfFault(t *testing.T) {
	var next error
	_, conn := serve(t, openStation(t), Options{}, failing(func() error { return next })...)
	for _, m := range methods(t) {
		for _, k := range kinds {
			next = fault.New(k.kind, "A_REASON", "what is wrong")
			s := status.Convert(m.call(t.Context(), conn, m.sampleOfCall))
			if s.Code() != k.code || s.Message() != "what is wrong" || detail[*errdetails.ErrorInfo](t, s).GetReason() != "A_REASON" {
				t.Errorf("%s: a fault of kind %v arrives as %v", m.name, k.kind, s)
			}
		}
		next = errors.New("secret")
		s := status.Convert(m.call(t.Context(), conn, m.sampleOfCall))
		if s.Code() != codes.Internal || s.Message() != "the station could not do this; its log says why" {
			t.Errorf("%s: an unknown error arrives as %v", m.name, s)
		}
		if detail[*errdetails.ErrorInfo](t, s).GetMetadata()["request_id"] == "" {
			t.Errorf("%s: an internal error has no request id", m.name)
		}
	}
}
