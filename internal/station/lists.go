package station

import (
	"context"
	"slices"
	"sort"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// Pages have this many entries when nothing is said, and at most this many.
const (
	usualPage    = 50
	greatestPage = 200
)

// pageRequest is what all list requests have.
type pageRequest interface {
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
	after, err := readPageToken(req.GetPageToken())
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
			return entries, pageToken(last), nil
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

// readForOne is how many rounds are read at most for each one that a page may hold.
const readForOne = 10

// ListRounds returns a page of rounds, newest first. A page for which much had to be read
// ends early.
func (s *Station) ListRounds(ctx context.Context, req *pb.ListRoundsRequest) (*pb.ListRoundsResponse, error) {
	p := s.current.Load()
	older, err := olderThan(p.opened, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	resp := &pb.ListRoundsResponse{}
	last, read := roundRef{}, 0
	for _, ref := range slices.Backward(older) {
		if req.GetVehicle() != "" && ref.vehicle != req.GetVehicle() {
			continue
		}
		if len(resp.GetRounds()) == pageSize(req) || read == readForOne*pageSize(req) {
			resp.NextPageToken = pageToken(strconv.FormatInt(last.opening, 10) + " " + last.name)
			break
		}
		r, err := s.roundOf(ctx, ref.name, p.sequence)
		if err != nil {
			return nil, err
		}
		last = ref
		read++
		if s.allOlder(ref, req.GetOpenedFrom()) {
			break
		}
		if wantedRound(req, r) {
			resp.Rounds = append(resp.Rounds, r)
		}
	}
	return resp, nil
}

// allOlder tells that a round, and so all behind it in the list, were opened before an
// instant: none is opened after it came into the record, and the record's times never run backwards.
func (s *Station) allOlder(ref roundRef, than *timestamppb.Timestamp) bool {
	if than == nil {
		return false
	}
	l := loader{journal: s.journal}
	ev, err := l.event(ref.opening)
	return err == nil && ev.GetStationTime().AsTime().Before(than.AsTime()) // of one that was dropped nobody can say
}

// wantedRound tells whether a round is one that was asked for.
func wantedRound(req *pb.ListRoundsRequest, r *pb.Round) bool {
	opened := r.GetOpened().AsTime()
	return (req.GetPerson() == "" || r.GetDriver() == req.GetPerson() || r.GetAssistant() == req.GetPerson()) &&
		(req.GetOpenedFrom() == nil || !opened.Before(req.GetOpenedFrom().AsTime())) &&
		(req.GetOpenedBefore() == nil || opened.Before(req.GetOpenedBefore().AsTime()))
}

// olderThan returns the rounds that were opened before the one a page ended with.
func olderThan(opened []roundRef, token string) ([]roundRef, error) {
	after, err := readPageToken(token)
	if err != nil || after == "" {
		return opened, err
	}
	opening, name, _ := strings.Cut(after, " ")
	before := roundRef{name: name}
	before.opening, err = strconv.ParseInt(opening, 10, 64)
	if err != nil {
		return nil, invalid("PAGE_TOKEN_UNREADABLE", "page_token", "this is no token of this list; give back next_page_token as it was, or none for the first page")
	}
	return opened[:sort.Search(len(opened), func(i int) bool { return opened[i].compare(before) >= 0 })], nil
}
