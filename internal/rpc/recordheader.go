package rpc

import (
	"context"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"bayround/internal/station"
)

// recordHeader stands in the header of every answer with one message while the
// record is not what it should be.
const (
	recordHeader = "bayround-record"
	recordBehind = "behind"
)

// tellRecord is the server's interceptor that says so: whoever reads on while the
// record has lost its newest entries is to know it.
func tellRecord(st *station.Station) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handle grpc.UnaryHandler) (any, error) {
		resp, err := handle(ctx, req)
		if st.Behind() { // also when this very call has shown it
			_ = grpc.SetHeader(ctx, metadata.Pairs(recordHeader, recordBehind)) // there is a call, and nothing was sent yet
		}
		return resp, err
	}
}

// WhenBehind has told called for every answer of a station whose record has lost
// its newest entries.
func WhenBehind(told func()) grpc.DialOption {
	return grpc.WithChainUnaryInterceptor(func(ctx context.Context, method string, req, resp any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, options ...grpc.CallOption) error {
		var header metadata.MD
		err := invoke(ctx, method, req, resp, conn, append(slices.Clone(options), grpc.Header(&header))...)
		if slices.Contains(header.Get(recordHeader), recordBehind) {
			told()
		}
		return err
	})
}
