package rpc

import (
	"context"
	"sync"
	"time"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// journal answers JournalService.
type journal struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeJournalServiceServer
	station  *station.Station
	patience time.Duration   // how long a stream may take nothing
	sending  *sync.WaitGroup // goroutines that send; whoever ends the server waits for them
}

// Follow gives every event in order.
func (j *journal) Follow(req *pb.FollowRequest, stream pb.JournalService_FollowServer) error {
	f := &following{
		stream: stream, patience: j.patience, token: req.GetToken(),
		messages: make(chan *pb.FollowResponse), sent: make(chan error, 1),
	}
	j.sending.Go(f.sending)
	defer f.end()
	return j.station.Follow(stream.Context(), req, f.send)
}

// GetCheckpoint returns the newest signed checkpoint.
func (j *journal) GetCheckpoint(ctx context.Context, req *pb.GetCheckpointRequest) (*pb.GetCheckpointResponse, error) {
	return j.station.GetCheckpoint(ctx, req)
}
