package rpc

import (
	"context"

	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// schedules answers ScheduleService.
type schedules struct {
	pb.UnsafeScheduleServiceServer
	station *station.Station
}

// ListDues returns how routines stand.
func (s *schedules) ListDues(ctx context.Context, req *pb.ListDuesRequest) (*pb.ListDuesResponse, error) {
	return s.station.ListDues(ctx, req)
}

// ListWatches returns watches.
func (s *schedules) ListWatches(ctx context.Context, req *pb.ListWatchesRequest) (*pb.ListWatchesResponse, error) {
	return s.station.ListWatches(ctx, req)
}

// GetCalendarFeed returns the coming dues as iCalendar.
func (s *schedules) GetCalendarFeed(ctx context.Context, req *pb.GetCalendarFeedRequest) (*pb.GetCalendarFeedResponse, error) {
	return s.station.GetCalendarFeed(ctx, req)
}

// RecordWheelsFitted records that wheels were fitted.
func (s *schedules) RecordWheelsFitted(ctx context.Context, req *pb.RecordWheelsFittedRequest) (*pb.RecordWheelsFittedResponse, error) {
	return s.station.RecordWheelsFitted(ctx, req)
}

// RecordIncident records a return from an incident.
func (s *schedules) RecordIncident(ctx context.Context, req *pb.RecordIncidentRequest) (*pb.RecordIncidentResponse, error) {
	return s.station.RecordIncident(ctx, req)
}

// ConfirmHandOver records a hand-over.
func (s *schedules) ConfirmHandOver(ctx context.Context, req *pb.ConfirmHandOverRequest) (*pb.ConfirmHandOverResponse, error) {
	return s.station.ConfirmHandOver(ctx, req)
}
