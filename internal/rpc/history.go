package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// history answers HistoryService.
type history struct {
	pb.UnimplementedHistoryServiceServer // until the station can tell all of it
	station                              *station.Station
	chain                                *chain
}

// CheckGauge records a comparison of a gauge with a reference.
func (h *history) CheckGauge(ctx context.Context, req *pb.CheckGaugeRequest) (*pb.CheckGaugeResponse, error) {
	return h.station.CheckGauge(ctx, req)
}
