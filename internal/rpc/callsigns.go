package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// callSigns answers CallSignService.
type callSigns struct {
	pb.UnsafeCallSignServiceServer
	station *station.Station
}

// ListCallSigns returns who answers to which call sign.
func (c *callSigns) ListCallSigns(ctx context.Context, req *pb.ListCallSignsRequest) (*pb.ListCallSignsResponse, error) {
	return c.station.ListCallSigns(ctx, req)
}

// CompareVehicles says what control must know of a change.
func (c *callSigns) CompareVehicles(ctx context.Context, req *pb.CompareVehiclesRequest) (*pb.CompareVehiclesResponse, error) {
	return c.station.CompareVehicles(ctx, req)
}

// MoveCallSign moves a call sign to a reserve.
func (c *callSigns) MoveCallSign(ctx context.Context, req *pb.MoveCallSignRequest) (*pb.MoveCallSignResponse, error) {
	return c.station.MoveCallSign(ctx, req)
}

// ReturnCallSign gives a call sign back.
func (c *callSigns) ReturnCallSign(ctx context.Context, req *pb.ReturnCallSignRequest) (*pb.ReturnCallSignResponse, error) {
	return c.station.ReturnCallSign(ctx, req)
}
