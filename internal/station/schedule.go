package station

import (
	"context"
	"slices"
	"sort"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/schedule"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

const (
	usualAhead    = 28 * 24 * time.Hour  // of a feed
	usualWatches  = 7 * 24 * time.Hour   // listed when nothing is said
	longestAhead  = 100 * 24 * time.Hour // of watches
	skewForgiven  = schedule.ClockSkew
	feedDomainEnd = ".bayround.invalid" // RFC 2606: nobody else's, and no address
)

// ListDues returns a page of how routines stand.
func (s *Station) ListDues(_ context.Context, req *pb.ListDuesRequest) (*pb.ListDuesResponse, error) {
	p, now := s.current.Load(), s.clock()
	after, err := readPageToken(req)
	if err != nil {
		return nil, err
	}
	names := p.names
	if req.GetVehicle() != "" {
		if _, err := p.vehicle(req.GetVehicle()); err != nil {
			return nil, err
		}
		names = []string{req.GetVehicle()}
	}
	if st := req.GetStation(); st != "" && p.lib.set.Stations[st] == nil {
		return nil, p.lib.unknownStation(st)
	}
	resp := &pb.ListDuesResponse{AsOf: timestamppb.New(now)}
	var all []*pb.RoutineDue
	for _, name := range names {
		snap := p.vehicles[name]
		home := snap.model.station
		if req.GetStation() != "" && home.GetName() != req.GetStation() {
			continue
		}
		if home.GetCalendar() == nil && !slices.Contains(resp.GetWithoutCalendar(), home.GetName()) {
			resp.WithoutCalendar = append(resp.WithoutCalendar, home.GetName())
		}
		dues, _ := snap.dues(now)
		all = append(all, slices.DeleteFunc(dues, func(d *pb.RoutineDue) bool { return !asked(d, req.GetStates()) })...)
	}
	slices.Sort(resp.WithoutCalendar)
	from := sort.Search(len(all), func(i int) bool { return dueKey(all[i]) > after })
	resp.Dues = all[from:min(len(all), from+pageSize(req))]
	if from+len(resp.GetDues()) < len(all) {
		resp.NextPageToken = pageToken(req, dueKey(resp.GetDues()[len(resp.GetDues())-1]))
	}
	return resp, nil
}

func asked(d *pb.RoutineDue, states []pb.DueState) bool {
	if len(states) == 0 {
		return d.GetState() != pb.DueState_DUE_STATE_QUIET
	}
	return slices.Contains(states, d.GetState())
}

// dueKey puts dues in the order of the list. A space sorts before what names have in them.
func dueKey(d *pb.RoutineDue) string { return d.GetVehicle() + " " + d.GetRoutine() }

// ListWatches returns the watches of a station.
func (s *Station) ListWatches(_ context.Context, req *pb.ListWatchesRequest) (*pb.ListWatchesResponse, error) {
	lib := s.current.Load().lib
	home := lib.set.Stations[req.GetStation()]
	switch {
	case home == nil:
		return nil, lib.unknownStation(req.GetStation())
	case home.GetCalendar() == nil:
		return nil, fault.New(fault.Precondition, "NO_CALENDAR", "nobody has said when watches change at %s; give it a calendar and apply it", home.GetTitle())
	}
	from := s.clock()
	if req.GetFrom() != nil {
		from = req.GetFrom().AsTime()
	}
	until := from.Add(usualWatches)
	if req.GetUntil() != nil {
		until = req.GetUntil().AsTime()
	}
	if !until.After(from) || until.Sub(from) > longestAhead {
		return nil, invalid("SPAN_WRONG", "until", "it must come after from, and at most 100 days after it")
	}
	calendar, err := schedule.Of(home)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListWatchesResponse{TimeZone: home.GetTimeZone()}
	for _, w := range calendar.Watches(from, until) {
		resp.Watches = append(resp.Watches, &pb.Watch{
			Name: w.Name, Crew: w.Crew, On: w.On.String(), Begins: timestamppb.New(w.Begins), Ends: timestamppb.New(w.Ends),
		})
	}
	return resp, nil
}

// GetCalendarFeed returns the coming dues of a station's vehicles as iCalendar.
func (s *Station) GetCalendarFeed(_ context.Context, req *pb.GetCalendarFeedRequest) (*pb.GetCalendarFeedResponse, error) {
	p, now := s.current.Load(), s.clock()
	home := p.lib.set.Stations[req.GetStation()]
	if home == nil {
		return nil, p.lib.unknownStation(req.GetStation())
	}
	until := now.Add(usualAhead)
	if req.GetDays() > 0 {
		until = now.AddDate(0, 0, int(req.GetDays()))
	}
	feed := schedule.Feed{Name: home.GetTitle() + ": checks due", Domain: uuidOf(home.GetName()) + feedDomainEnd, Stamp: now}
	for _, name := range p.names {
		if snap := p.vehicles[name]; snap.model.station.GetName() == home.GetName() {
			feed.Events = append(feed.Events, snap.feed(now, until)...)
		}
	}
	text, err := feed.Write()
	return &pb.GetCalendarFeedResponse{Calendar: text}, err
}

// feed lists what comes due at the vehicle, each routine as often as its calendar brings it
// back, taken to be done each time. Of a routine with several occasions one that falls due
// at the same instant as another is told once.
func (s *snapshot) feed(now, until time.Time) (events []schedule.FeedEvent) {
	t, told := s.model.timetable(), map[string]bool{}
	for _, line := range t.lines {
		first, done := s.due(t, line, now)
		for _, occasion := range line.occasions {
			dues, err := t.calendar.Dues(occasion, s.past(done), now, until)
			if err != nil {
				continue // checked with the timetable
			}
			if _, standing := occasion.On.(schedule.AfterStanding); standing {
				dues = []schedule.Due{first}
			}
			for _, due := range dues {
				e := s.feedEvent(t, line, due, now)
				if !told[e.Key] && due.State != schedule.Quiet && e.Starts.Before(until) {
					events, told[e.Key] = append(events, e), true
				}
			}
		}
	}
	return append(append(events, s.sharesFeed(t, now, until)...), s.wheelsFeed(t, now, until)...)
}

// spoken is the vehicle's call sign as people say it now.
func (s *snapshot) spoken() string {
	of := s.model.vehicle
	return verdict.Spoken(&pb.Readiness{CallSign: of.GetCallSign(), AnswersTo: verdict.AnswersTo(of, s.input.Holding), Holding: s.input.Holding})
}

// feedEvent is one due in a feed. What is overdue since nobody knows when stands at now.
func (s *snapshot) feedEvent(t timetable, line timetableLine, due schedule.Due, now time.Time) schedule.FeedEvent {
	key := s.model.vehicle.GetName() + " " + line.routine.GetName() + " "
	e := schedule.FeedEvent{
		Key: key + "never", Starts: now, Summary: s.spoken() + " " + line.routine.GetTitle(),
		Description: t.calendar.Words(line.routine.GetTitle(), due),
	}
	if !due.At.IsZero() {
		e.Key, e.Starts, e.Ends = key+due.At.UTC().Format(time.RFC3339), due.At, due.OverdueFrom
	}
	if due.State == schedule.Overdue {
		e.Summary += " (overdue)"
	}
	return e
}

// RecordIncident records that a vehicle came back from an incident.
func (s *Station) RecordIncident(ctx context.Context, req *pb.RecordIncidentRequest) (*pb.RecordIncidentResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.RecordIncidentResponse, error) {
		v := c.state.vehicles[req.GetVehicle()]
		if v == nil {
			return nil, unknown("vehicle", req.GetVehicle())
		}
		if err := c.state.lib.active(req.GetPerson(), deviceTimeOf(req)); err != nil {
			return nil, err
		}
		if err := c.state.may(req.GetPerson(), admit.Incident); err != nil {
			return nil, err
		}
		returned, err := c.happened(req.GetReturned(), req.GetDeviceTime(),
			invalid("RETURNED_LATER", "returned", "it lies in the future; record the return when the vehicle is back"))
		if err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Person: req.GetPerson(), Vehicle: v.name, Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_IncidentRecorded{IncidentRecorded: &pb.IncidentRecorded{
				Returned: timestamppb.New(returned), Note: req.GetNote(), Used: req.GetUsed(),
			}},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		dues, _ := v.snapshot().dues(c.time)
		return &pb.RecordIncidentResponse{Sequence: ev.GetSequence(), Dues: slices.DeleteFunc(dues, notYetDue)}, nil
	})
	return resp, err
}

// happened is when something happened that a request tells of: now, where it does not say.
// What lies in the future here and not by the device's clock was told by a clock that is
// ahead: it was then, at the latest now. Otherwise the refusal is given.
func (c *command) happened(said, device *timestamppb.Timestamp, later error) (time.Time, error) {
	switch {
	case said == nil:
		return c.time, nil
	case !said.AsTime().After(c.time.Add(skewForgiven)):
		return said.AsTime(), nil
	case device != nil && !said.AsTime().After(device.AsTime()):
		return c.time, nil
	}
	return time.Time{}, later
}

func notYetDue(d *pb.RoutineDue) bool { return d.GetState() < pb.DueState_DUE_STATE_DUE }
