package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// people answers PeopleService.
type people struct {
	pb.UnsafePeopleServiceServer
	station *station.Station
}

// ReportLockOut records who was locked out of a tablet.
func (p *people) ReportLockOut(ctx context.Context, req *pb.ReportLockOutRequest) (*pb.ReportLockOutResponse, error) {
	return p.station.ReportLockOut(ctx, req)
}

// ReportUnlock records who may sign in at a tablet again.
func (p *people) ReportUnlock(ctx context.Context, req *pb.ReportUnlockRequest) (*pb.ReportUnlockResponse, error) {
	return p.station.ReportUnlock(ctx, req)
}
