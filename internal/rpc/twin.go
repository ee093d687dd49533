package rpc

import (
	"context"

	"bayround/internal/access"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// twin answers TwinService.
type twin struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeTwinServiceServer
	station *station.Station
	badges  *access.Badges // nil when badges are not hashed
}

// GetLibrary returns everything in force, and by what badges are hashed.
func (t *twin) GetLibrary(ctx context.Context, req *pb.GetLibraryRequest) (*pb.GetLibraryResponse, error) {
	resp, err := t.station.GetLibrary(ctx, req)
	if err == nil && t.badges != nil {
		resp.BadgeKey = t.badges.Key()
	}
	return resp, err
}

// GetStanding returns what the verdict about a vehicle rests on now.
func (t *twin) GetStanding(ctx context.Context, req *pb.GetStandingRequest) (*pb.GetStandingResponse, error) {
	return t.station.GetStanding(ctx, req)
}
