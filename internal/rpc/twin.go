package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// twin answers TwinService.
type twin struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeTwinServiceServer
	station *station.Station
}

// GetLibrary returns everything in force.
func (t *twin) GetLibrary(ctx context.Context, req *pb.GetLibraryRequest) (*pb.GetLibraryResponse, error) {
	return t.station.GetLibrary(ctx, req)
}

// GetStanding returns what the verdict about a vehicle rests on now.
func (t *twin) GetStanding(ctx context.Context, req *pb.GetStandingRequest) (*pb.GetStandingResponse, error) {
	return t.station.GetStanding(ctx, req)
}
