package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// history answers HistoryService.
type history struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeHistoryServiceServer
	station *station.Station
	chain   *chain
}

// GetHistory returns everything that was measured at one step.
func (h *history) GetHistory(ctx context.Context, req *pb.GetHistoryRequest) (*pb.GetHistoryResponse, error) {
	return h.station.GetHistory(ctx, req)
}

// ListForecasts returns what will next reach a limit.
func (h *history) ListForecasts(ctx context.Context, req *pb.ListForecastsRequest) (*pb.ListForecastsResponse, error) {
	return h.station.ListForecasts(ctx, req)
}

// Explain returns how a finding came about.
func (h *history) Explain(ctx context.Context, req *pb.ExplainRequest) (*pb.ExplainResponse, error) {
	return h.station.Explain(ctx, req)
}

// CheckGauge records a comparison of a gauge with a reference.
func (h *history) CheckGauge(ctx context.Context, req *pb.CheckGaugeRequest) (*pb.CheckGaugeResponse, error) {
	return h.station.CheckGauge(ctx, req)
}

// RejudgeGauge tells which verdicts would have been others had a gauge read true.
func (h *history) RejudgeGauge(req *pb.RejudgeGaugeRequest, stream pb.HistoryService_RejudgeGaugeServer) error {
	t := tell(h.chain, stream)
	defer t.end()
	return h.station.RejudgeGauge(stream.Context(), req, func(m *pb.RejudgeGaugeResponse) error { return t.send(m, askAgain) })
}

// Rehearse tells which verdicts would have been others under other rule packs.
func (h *history) Rehearse(req *pb.RehearseRequest, stream pb.HistoryService_RehearseServer) error {
	t := tell(h.chain, stream)
	defer t.end()
	return h.station.Rehearse(stream.Context(), req, func(m *pb.RehearseResponse) error { return t.send(m, askAgain) })
}

// askAgain is how to go on with what tells the same when it is asked for again.
func askAgain() string { return "ask again, and read as it comes" }
