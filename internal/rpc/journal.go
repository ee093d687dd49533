package rpc

import (
	"context"
	"fmt"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// journal answers JournalService.
type journal struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeJournalServiceServer
	station *station.Station
	chain   *chain
}

// Follow gives every event in order.
func (j *journal) Follow(req *pb.FollowRequest, stream pb.JournalService_FollowServer) error {
	f := &following{telling: tell(j.chain, stream), token: req.GetToken()}
	defer f.end()
	send := f.send
	if !forTablets(stream.Context()) {
		send = func(m *pb.FollowResponse) error { return f.send(discreet(m)) }
	}
	return j.station.Follow(stream.Context(), req, send)
}

// GetCheckpoint returns the newest signed checkpoint.
func (j *journal) GetCheckpoint(ctx context.Context, req *pb.GetCheckpointRequest) (*pb.GetCheckpointResponse, error) {
	return j.station.GetCheckpoint(ctx, req)
}

// ProveInclusion proves that an event stands in the record.
func (j *journal) ProveInclusion(ctx context.Context, req *pb.ProveInclusionRequest) (*pb.ProveInclusionResponse, error) {
	resp, err := j.station.ProveInclusion(ctx, req)
	if err == nil && !forTablets(ctx) {
		resp.Record = discreetRecord(resp.GetRecord())
	}
	return resp, err
}

// ExportRecord gives the parts of a record file.
func (j *journal) ExportRecord(req *pb.ExportRecordRequest, stream pb.JournalService_ExportRecordServer) error {
	t := tell(j.chain, stream)
	defer t.end()
	next := max(req.GetFirstSequence(), 1)
	return j.station.ExportRecord(stream.Context(), req, func(m *pb.ExportRecordResponse) error {
		err := t.send(m, func() string { return fmt.Sprintf("export again from event %d on", next) })
		next += int64(len(m.GetPart().GetCommand().GetEvents()))
		return err
	})
}

// GetRecordState tells how well the record stands.
func (j *journal) GetRecordState(ctx context.Context, req *pb.GetRecordStateRequest) (*pb.GetRecordStateResponse, error) {
	return j.station.GetRecordState(ctx, req)
}

// ProveConsistency proves that the record only grew.
func (j *journal) ProveConsistency(ctx context.Context, req *pb.ProveConsistencyRequest) (*pb.ProveConsistencyResponse, error) {
	return j.station.ProveConsistency(ctx, req)
}

// OfferRecord takes the parts of a record file.
func (j *journal) OfferRecord(stream pb.JournalService_OfferRecordServer) error {
	resp, err := j.station.OfferRecord(stream.Context(), func() (*pb.OfferRecordRequest, error) {
		m, err := stream.Recv()
		if err != nil {
			return nil, err
		}
		return m, j.chain.check(m)
	})
	if err != nil {
		return err
	}
	return stream.SendAndClose(resp)
}
