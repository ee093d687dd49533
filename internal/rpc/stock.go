package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// stocks answers StockService.
type stocks struct {
	pb.UnsafeStockServiceServer
	station *station.Station
}

// ListStock returns what stations have.
func (s *stocks) ListStock(ctx context.Context, req *pb.ListStockRequest) (*pb.ListStockResponse, error) {
	return s.station.ListStock(ctx, req)
}

// ListStockMovements returns the account of one material.
func (s *stocks) ListStockMovements(ctx context.Context, req *pb.ListStockMovementsRequest) (*pb.ListStockMovementsResponse, error) {
	return s.station.ListStockMovements(ctx, req)
}

// RecordDelivery records that some of a material came.
func (s *stocks) RecordDelivery(ctx context.Context, req *pb.RecordDeliveryRequest) (*pb.RecordDeliveryResponse, error) {
	return s.station.RecordDelivery(ctx, req)
}

// CountStock records how much of a material somebody has counted.
func (s *stocks) CountStock(ctx context.Context, req *pb.CountStockRequest) (*pb.CountStockResponse, error) {
	return s.station.CountStock(ctx, req)
}
