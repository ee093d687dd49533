package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// readiness answers ReadinessService.
type readiness struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeReadinessServiceServer
	station   *station.Station
	encodings *encodings
}

// GetReadiness returns the readiness of one vehicle.
func (r *readiness) GetReadiness(ctx context.Context, req *pb.GetReadinessRequest) (*pb.GetReadinessResponse, error) {
	return r.station.GetReadiness(ctx, req)
}

// ListReadiness returns the readiness of all vehicles.
func (r *readiness) ListReadiness(ctx context.Context, req *pb.ListReadinessRequest) (*pb.ListReadinessResponse, error) {
	return r.station.ListReadiness(ctx, req)
}

// WatchReadiness tells readiness for as long as the caller listens. A state that
// many watchers are told is encoded once.
func (r *readiness) WatchReadiness(req *pb.WatchReadinessRequest, stream pb.ReadinessService_WatchReadinessServer) error {
	return r.station.Watch(stream.Context(), req, func(resp *pb.WatchReadinessResponse) error {
		return stream.SendMsg(r.encodings.of(resp))
	})
}
