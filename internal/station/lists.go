package station

import (
	"context"
	"sort"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// Pages have this many entries when nothing is said, and at most this many.
const (
	usualPage    = 50
	greatestPage = 200
)

// pageRequest is what all list requests have.
type pageRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

func pageSize(req pageRequest) int {
	if req.GetPageSize() <= 0 {
		return usualPage
	}
	return min(int(req.GetPageSize()), greatestPage)
}

// page returns a page of what a map holds, in the order of names. A page begins
// after the name that its token holds, whether that is still there or not.
func page[T any](all map[string]T, req pageRequest, wanted func(T) bool) (entries []T, next string, err error) {
	after, err := readPageToken(req)
	if err != nil {
		return nil, "", err
	}
	names := sortedKeys(all)
	last := ""
	for _, name := range names[sort.SearchStrings(names, after):] {
		if name == after || !wanted(all[name]) {
			continue
		}
		if len(entries) == pageSize(req) {
			return entries, pageToken(req, last), nil
		}
		entries, last = append(entries, all[name]), name
	}
	return entries, "", nil
}

// everything is what a list without a filter wants.
func everything[T any](T) bool { return true }

// ListVehicles returns a page of vehicles in the order of their names.
func (s *Station) ListVehicles(_ context.Context, req *pb.ListVehiclesRequest) (*pb.ListVehiclesResponse, error) {
	entries, next, err := page(s.current.Load().lib.set.Vehicles, req, func(v *pb.VehicleConfiguration) bool {
		return req.GetStation() == "" || v.GetStation() == req.GetStation()
	})
	return &pb.ListVehiclesResponse{Vehicles: entries, NextPageToken: next}, err
}

// ListRoutines returns a page of routines in the order of their names.
func (s *Station) ListRoutines(_ context.Context, req *pb.ListRoutinesRequest) (*pb.ListRoutinesResponse, error) {
	entries, next, err := page(s.current.Load().lib.set.Routines, req, everything)
	return &pb.ListRoutinesResponse{Routines: entries, NextPageToken: next}, err
}

// ListGauges returns a page of gauges in the order of their names.
func (s *Station) ListGauges(_ context.Context, req *pb.ListGaugesRequest) (*pb.ListGaugesResponse, error) {
	entries, next, err := page(s.current.Load().lib.set.Gauges, req, everything)
	return &pb.ListGaugesResponse{Gauges: entries, NextPageToken: next}, err
}

// ListPeople returns a page of people in the order of their names, without what
// proves who they are.
func (s *Station) ListPeople(_ context.Context, req *pb.ListPeopleRequest) (*pb.ListPeopleResponse, error) {
	entries, next, err := page(s.current.Load().lib.set.People, req, everything)
	resp := &pb.ListPeopleResponse{NextPageToken: next}
	for _, p := range entries {
		resp.People = append(resp.People, &pb.Person{Name: p.GetName(), Title: p.GetTitle(), Roles: p.GetRoles(), Erased: p.GetErased()})
	}
	return resp, err
}

// ListStations returns a page of stations in the order of their names.
func (s *Station) ListStations(_ context.Context, req *pb.ListStationsRequest) (*pb.ListStationsResponse, error) {
	entries, next, err := page(s.current.Load().lib.set.Stations, req, everything)
	return &pb.ListStationsResponse{Stations: entries, NextPageToken: next}, err
}

// ListRulePacks returns a page of rule packs, without their rules, in the order
// of their names.
func (s *Station) ListRulePacks(_ context.Context, req *pb.ListRulePacksRequest) (*pb.ListRulePacksResponse, error) {
	entries, next, err := page(s.current.Load().lib.set.Packs, req, everything)
	resp := &pb.ListRulePacksResponse{NextPageToken: next}
	for _, p := range entries {
		resp.RulePacks = append(resp.RulePacks, &pb.RulePack{
			Name: p.GetName(), Version: p.GetVersion(), Title: p.GetTitle(), Authority: p.GetAuthority(),
		})
	}
	return resp, err
}

// ListReadiness returns a page of the readiness of vehicles in the order of
// their names.
func (s *Station) ListReadiness(_ context.Context, req *pb.ListReadinessRequest) (*pb.ListReadinessResponse, error) {
	now := s.clock()
	entries, next, err := page(s.current.Load().vehicles, req, func(snap *snapshot) bool {
		return req.GetStation() == "" || snap.model.vehicle.GetStation() == req.GetStation()
	})
	resp := &pb.ListReadinessResponse{NextPageToken: next}
	for _, snap := range entries {
		resp.Readiness = append(resp.Readiness, snap.at(now).asOf(now))
	}
	return resp, err
}
