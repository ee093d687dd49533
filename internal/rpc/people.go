package rpc

import (
	"context"

	"bayround/internal/access"
	"bayround/internal/fault"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// people answers PeopleService.
type people struct {
	pb.UnsafePeopleServiceServer
	station *station.Station
	badges  *access.Badges // nil when badges are not hashed
}

// ReportLockOut records who was locked out of a tablet.
func (p *people) ReportLockOut(ctx context.Context, req *pb.ReportLockOutRequest) (*pb.ReportLockOutResponse, error) {
	return p.station.ReportLockOut(ctx, req)
}

// ReportUnlock records who may sign in at a tablet again.
func (p *people) ReportUnlock(ctx context.Context, req *pb.ReportUnlockRequest) (*pb.ReportUnlockResponse, error) {
	return p.station.ReportUnlock(ctx, req)
}

// HashBadge hashes a badge for a person's file.
func (p *people) HashBadge(_ context.Context, req *pb.HashBadgeRequest) (*pb.HashBadgeResponse, error) {
	if p.badges == nil {
		return nil, fault.New(fault.Precondition, "BADGE_NO_KEY", "this station hashes no badges")
	}
	hash, err := p.badges.Of(req.GetBadge())
	return &pb.HashBadgeResponse{BadgeHmacSha256: hash}, err
}
