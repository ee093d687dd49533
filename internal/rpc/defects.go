package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// defects answers DefectService.
type defects struct {
	pb.UnsafeDefectServiceServer
	station *station.Station
}

// GetDefect returns a defect.
func (d *defects) GetDefect(ctx context.Context, req *pb.GetDefectRequest) (*pb.GetDefectResponse, error) {
	return d.station.GetDefect(ctx, req)
}

// ListDefects returns defects.
func (d *defects) ListDefects(ctx context.Context, req *pb.ListDefectsRequest) (*pb.ListDefectsResponse, error) {
	return d.station.ListDefects(ctx, req)
}

// AcknowledgeDefect records the workshop's answer.
func (d *defects) AcknowledgeDefect(ctx context.Context, req *pb.AcknowledgeDefectRequest) (*pb.AcknowledgeDefectResponse, error) {
	return d.station.AcknowledgeDefect(ctx, req)
}

// DeferDefect lets a defect wait.
func (d *defects) DeferDefect(ctx context.Context, req *pb.DeferDefectRequest) (*pb.DeferDefectResponse, error) {
	return d.station.DeferDefect(ctx, req)
}

// EndDeferral ends a deferral.
func (d *defects) EndDeferral(ctx context.Context, req *pb.EndDeferralRequest) (*pb.EndDeferralResponse, error) {
	return d.station.EndDeferral(ctx, req)
}

// StopVehicle stops a vehicle.
func (d *defects) StopVehicle(ctx context.Context, req *pb.StopVehicleRequest) (*pb.StopVehicleResponse, error) {
	return d.station.StopVehicle(ctx, req)
}

// ReleaseVehicle releases a stopped vehicle.
func (d *defects) ReleaseVehicle(ctx context.Context, req *pb.ReleaseVehicleRequest) (*pb.ReleaseVehicleResponse, error) {
	return d.station.ReleaseVehicle(ctx, req)
}

// GetDefectFigures returns figures about defects.
func (d *defects) GetDefectFigures(ctx context.Context, req *pb.GetDefectFiguresRequest) (*pb.GetDefectFiguresResponse, error) {
	return d.station.GetDefectFigures(ctx, req)
}
