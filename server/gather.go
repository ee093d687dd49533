package main

import (
	"context"
	"errors"
	"io"
	"sort"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/roundproof"
	"bayround/internal/roundrecord"
	pb "bayround/proto/bayround/v1"
)

// gathering gathers what is kept of rounds; what several have in common it asks for once.
type gathering struct {
	station *remote
	people  map[string]string
	plans   map[string]*pb.Plan // by vehicle and routine; nil where there is none
	zones   map[string]*time.Location
	defects map[string][]*pb.Defect // by vehicle
	head    *pb.GetCheckpointResponse
}

// record is everything about a round that is laid out.
func (g *gathering) record(ctx context.Context, name string) (*roundrecord.Record, error) {
	found, err := g.station.rounds.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	if err != nil {
		return nil, err
	}
	return g.recordOf(ctx, found.GetRound())
}

func (g *gathering) recordOf(ctx context.Context, round *pb.Round) (*roundrecord.Record, error) {
	r := &roundrecord.Record{Round: round}
	for _, ask := range []func(context.Context, *roundrecord.Record) error{g.addEvents, g.addPeople, g.addPlan, g.addVehicle, g.addReadiness, g.addDefects, g.addHead} {
		if err := ask(ctx, r); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// addEvents reads the round's events.
func (g *gathering) addEvents(ctx context.Context, r *roundrecord.Record) (err error) {
	r.Events, err = g.station.eventsOf(ctx, r.Round)
	return err
}

// eventsOf reads the events of a round from the record, oldest first.
func (s *remote) eventsOf(ctx context.Context, round *pb.Round) (events []*pb.JournalEvent, err error) {
	first, err := s.firstSince(ctx, round.GetOpened().AsTime(), round.GetSequence())
	if err != nil {
		return nil, err
	}
	events, err = s.eventsFrom(ctx, round, first)
	if err == nil && first > 1 && (len(events) == 0 || events[0].GetRoundOpened() == nil) {
		return s.eventsFrom(ctx, round, 1) // dropped events have led the search astray
	}
	return events, err
}

// eventsFrom reads the events of a round that stand from some event of the record on.
func (s *remote) eventsFrom(ctx context.Context, round *pb.Round, first int64) (events []*pb.JournalEvent, err error) {
	err = s.eachEvent(ctx, first, func(ev *pb.JournalEvent) bool {
		within := ev.GetSequence() <= round.GetSequence()
		if within && roundproof.RoundOf(ev) == round.GetName() {
			events = append(events, ev)
		}
		return within
	})
	return events, err
}

// eachEvent reads the record from an event on, until wanted says that it is enough. Events whose
// content was dropped are left out.
func (s *remote) eachEvent(ctx context.Context, first int64, wanted func(*pb.JournalEvent) bool) error {
	ctx, cancel := context.WithCancel(ctx) // ends the stream when enough has been read
	defer cancel()
	stream, err := pb.NewJournalServiceClient(s.conn).ExportRecord(ctx, &pb.ExportRecordRequest{FirstSequence: first})
	if err != nil {
		return err
	}
	for {
		message, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		for _, kept := range message.GetPart().GetCommand().GetEvents() {
			if len(kept.GetRecord()) == 0 {
				continue
			}
			ev := &pb.JournalEvent{}
			if err := proto.Unmarshal(kept.GetRecord(), ev); err != nil {
				return err
			}
			if !wanted(ev) {
				return nil
			}
		}
	}
}

// firstSince is the first event that is not older than an instant, among those up to
// last. Station times never run backwards, so that it is found by halving. An event
// whose content was dropped counts as older; where one stands behind the instant, what
// is found may be too late.
func (s *remote) firstSince(ctx context.Context, since time.Time, last int64) (int64, error) {
	ctx, cancel := patiently(ctx)
	defer cancel()
	journal := pb.NewJournalServiceClient(s.conn)
	var failed error
	before := sort.Search(int(last)-1, func(i int) bool {
		resp, err := journal.ProveInclusion(ctx, &pb.ProveInclusionRequest{Sequence: int64(i) + 1})
		ev := &pb.JournalEvent{}
		if failed = errors.Join(failed, err, proto.Unmarshal(resp.GetRecord(), ev)); failed != nil {
			return true
		}
		return len(resp.GetRecord()) > 0 && !ev.GetStationTime().AsTime().Before(since)
	})
	return int64(before) + 1, failed
}

// addPeople adds what people are called now. Who was erased is told by the id alone.
func (g *gathering) addPeople(ctx context.Context, r *roundrecord.Record) error {
	if g.people == nil {
		ctx, cancel := patiently(ctx)
		defer cancel()
		people := map[string]string{}
		err := pages(func(token string) (string, error) {
			resp, err := g.station.vehicles.ListPeople(ctx, &pb.ListPeopleRequest{PageSize: 200, PageToken: token})
			for _, p := range resp.GetPeople() {
				people[p.GetName()] = p.GetTitle()
			}
			return resp.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		g.people = people
	}
	r.People = g.people
	return nil
}

// addPlan adds the plan of the routine as it is now, if there is one.
func (g *gathering) addPlan(ctx context.Context, r *roundrecord.Record) error {
	key := r.Round.GetVehicle() + " " + r.Round.GetRoutine() + " " + strings.Join(r.Round.GetWithItems(), " ")
	if plan, asked := g.plans[key]; asked {
		r.Plan = plan
		return nil
	}
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := g.station.vehicles.GetPlan(ctx, &pb.GetPlanRequest{
		Vehicle: r.Round.GetVehicle(), Routine: r.Round.GetRoutine(), WithItems: r.Round.GetWithItems(),
	})
	if err != nil && !fault.Is(err, fault.NotFound) {
		return err
	}
	if g.plans == nil {
		g.plans = map[string]*pb.Plan{}
	}
	g.plans[key], r.Plan = resp.GetPlan(), resp.GetPlan()
	return nil
}

// addVehicle adds the configuration on which the round was opened, and the station's zone.
func (g *gathering) addVehicle(ctx context.Context, r *roundrecord.Record) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	resp, err := g.station.vehicles.GetVehicle(ctx, &pb.GetVehicleRequest{Name: r.Round.GetVehicle(), Revision: r.Round.GetVehicleRevision()})
	if err != nil && !fault.Is(err, fault.NotFound) {
		return err
	}
	r.Vehicle = resp.GetVehicle()
	if err := g.askZones(ctx); err != nil {
		return err
	}
	zone := g.zones[r.Vehicle.GetStation()]
	if zone == nil {
		zone = time.UTC
	}
	r.Made = time.Now().In(zone)
	return nil
}

// askZones asks for the zones of all stations, once.
func (g *gathering) askZones(ctx context.Context) error {
	if g.zones != nil {
		return nil
	}
	zones := map[string]*time.Location{}
	err := pages(func(token string) (string, error) {
		resp, err := g.station.vehicles.ListStations(ctx, &pb.ListStationsRequest{PageSize: 200, PageToken: token})
		for _, st := range resp.GetStations() {
			if zone, err := time.LoadLocation(st.GetTimeZone()); err == nil {
				zones[st.GetName()] = zone // what this machine does not know is told in UTC
			}
		}
		return resp.GetNextPageToken(), err
	})
	if err == nil {
		g.zones = zones
	}
	return err
}

// addReadiness adds how the vehicle stood when the round ended, and how it stands now.
func (g *gathering) addReadiness(ctx context.Context, r *roundrecord.Record) error {
	ctx, cancel := patiently(ctx)
	defer cancel()
	now, err := g.station.readiness.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: r.Round.GetVehicle()})
	if err != nil {
		return err
	}
	r.Now = now.GetReadiness()
	ended := r.Ended()
	if ended == nil {
		return nil
	}
	then, err := g.station.readiness.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: r.Round.GetVehicle(), AsOf: ended.GetStationTime()})
	if err != nil && !fault.Is(err, fault.NotFound) {
		return err
	}
	r.AtEnd = then.GetReadiness()
	return nil
}

// addHead adds the newest signed head of the record.
func (g *gathering) addHead(ctx context.Context, r *roundrecord.Record) error {
	if g.head == nil {
		ctx, cancel := patiently(ctx)
		defer cancel()
		head, err := pb.NewJournalServiceClient(g.station.conn).GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
		if err != nil {
			return err
		}
		g.head = head
	}
	r.Checkpoint, r.VerifierKey = g.head.GetCheckpoint(), g.head.GetVerifierKey()
	return nil
}
