package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// rounds answers RoundService.
type rounds struct {
	// No defaults: an rpc without a handler fails the build.
	pb.UnsafeRoundServiceServer
	station *station.Station
	chain   *chain
}

// OpenRound begins a round.
func (r *rounds) OpenRound(ctx context.Context, req *pb.OpenRoundRequest) (*pb.OpenRoundResponse, error) {
	return r.station.OpenRound(ctx, req)
}

// GetRound returns a round.
func (r *rounds) GetRound(ctx context.Context, req *pb.GetRoundRequest) (*pb.GetRoundResponse, error) {
	return r.station.GetRound(ctx, req)
}

// ListRounds returns rounds, newest first.
func (r *rounds) ListRounds(ctx context.Context, req *pb.ListRoundsRequest) (*pb.ListRoundsResponse, error) {
	return r.station.ListRounds(ctx, req)
}

// PauseRound interrupts a round.
func (r *rounds) PauseRound(ctx context.Context, req *pb.PauseRoundRequest) (*pb.PauseRoundResponse, error) {
	return r.station.PauseRound(ctx, req)
}

// ResumeRound goes on with a round.
func (r *rounds) ResumeRound(ctx context.Context, req *pb.ResumeRoundRequest) (*pb.ResumeRoundResponse, error) {
	return r.station.ResumeRound(ctx, req)
}

// FinishRound ends a round.
func (r *rounds) FinishRound(ctx context.Context, req *pb.FinishRoundRequest) (*pb.FinishRoundResponse, error) {
	return r.station.FinishRound(ctx, req)
}

// GiveUpRound ends a round early.
func (r *rounds) GiveUpRound(ctx context.Context, req *pb.GiveUpRoundRequest) (*pb.GiveUpRoundResponse, error) {
	return r.station.GiveUpRound(ctx, req)
}

// GetRoundContent returns what a signature of a round is over.
func (r *rounds) GetRoundContent(ctx context.Context, req *pb.GetRoundContentRequest) (*pb.GetRoundContentResponse, error) {
	return r.station.GetRoundContent(ctx, req)
}

// SignRound records an officer's signature under a finished round.
func (r *rounds) SignRound(ctx context.Context, req *pb.SignRoundRequest) (*pb.SignRoundResponse, error) {
	return r.station.SignRound(ctx, req)
}

// BeginStep says that a step which undoes something is begun.
func (r *rounds) BeginStep(ctx context.Context, req *pb.BeginStepRequest) (*pb.BeginStepResponse, error) {
	return r.station.BeginStep(ctx, req)
}

// MakeSafe says that what steps had undone was put back.
func (r *rounds) MakeSafe(ctx context.Context, req *pb.MakeSafeRequest) (*pb.MakeSafeResponse, error) {
	return r.station.MakeSafe(ctx, req)
}

// ChangeAssistant notes who assists from now on.
func (r *rounds) ChangeAssistant(ctx context.Context, req *pb.ChangeAssistantRequest) (*pb.ChangeAssistantResponse, error) {
	return r.station.ChangeAssistant(ctx, req)
}

// RecordResult records one result.
func (r *rounds) RecordResult(ctx context.Context, req *pb.RecordResultRequest) (*pb.RecordResultResponse, error) {
	resp, err := r.station.RecordResult(ctx, req)
	r.chain.meter.recorded(resp)
	return resp, err
}

// RecordResults records results as they come; see pipeline.
func (r *rounds) RecordResults(stream pb.RoundService_RecordResultsServer) error {
	return newPipeline(r.chain, r.RecordResult).run(stream)
}
