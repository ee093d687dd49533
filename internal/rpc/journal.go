package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// journal answers JournalService.
type journal struct {
	pb.UnimplementedJournalServiceServer
	station *station.Station
	chain   *chain
}

// Follow gives every event in order.
func (j *journal) Follow(req *pb.FollowRequest, stream pb.JournalService_FollowServer) error {
	f := &following{telling: tell(j.chain, stream), token: req.GetToken()}
	defer f.end()
	return j.station.Follow(stream.Context(), req, f.send)
}

// GetCheckpoint returns the newest signed checkpoint.
func (j *journal) GetCheckpoint(ctx context.Context, req *pb.GetCheckpointRequest) (*pb.GetCheckpointResponse, error) {
	return j.station.GetCheckpoint(ctx, req)
}
