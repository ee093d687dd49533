package station

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/admit"
	"bayround/internal/fault"
	"bayround/internal/schedule"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// RecordWheelsFitted records that wheels had been off and were fitted.
func (s *Station) RecordWheelsFitted(ctx context.Context, req *pb.RecordWheelsFittedRequest) (*pb.RecordWheelsFittedResponse, error) {
	if err := checkDeviceTime(req); err != nil {
		return nil, err
	}
	resp, _, err := run(ctx, s, req.GetRequestId(), req, func(c *command) (*pb.RecordWheelsFittedResponse, error) {
		v := c.state.vehicles[req.GetVehicle()]
		if v == nil {
			return nil, unknown("vehicle", req.GetVehicle())
		}
		if err := c.state.lib.active(req.GetPerson(), deviceTimeOf(req)); err != nil {
			return nil, err
		}
		if err := c.mayOnce(req.GetPerson(), admit.FitWheels, req.GetDeviceTime()); err != nil {
			return nil, err
		}
		fitted, err := c.happened(req.GetFitted(), req.GetDeviceTime(), invalid("FITTED_LATER", "fitted", "it lies in the future; record it when the wheel is on"))
		if err != nil {
			return nil, err
		}
		wheels, err := v.model.wheelsNamed(req, fitted)
		if err != nil {
			return nil, err
		}
		ev := &pb.JournalEvent{
			Person: req.GetPerson(), Vehicle: v.name, Device: req.GetDevice(), DeviceTime: req.GetDeviceTime(),
			Event: &pb.JournalEvent_WheelsFitted{WheelsFitted: &pb.WheelsFitted{Wheels: wheels, Note: req.GetNote()}},
		}
		if err := c.happen(ev, nil); err != nil {
			return nil, err
		}
		dues, _ := v.snapshot().dues(c.time)
		return &pb.RecordWheelsFittedResponse{Sequence: ev.GetSequence(), Dues: slices.DeleteFunc(dues, notByWheel)}, nil
	})
	return resp, err
}

func notByWheel(d *pb.RoutineDue) bool {
	return d.GetBecause() != pb.HappeningKind_HAPPENING_KIND_WHEEL_FITTED
}

// offWheels is a request that says which wheels were off.
type offWheels interface {
	proto.Message
	GetWheels() []string
	GetOdometerKm() float64
}

// wheelsNamed are the wheels of a request, in the order of their steps.
func (m *model) wheelsNamed(req offWheels, fitted time.Time) (all []*pb.WheelFitted, err error) {
	known := map[string]*step{}
	for _, item := range m.catalogue.GetItems() {
		if !slices.Contains(item.GetTriggers(), pb.Trigger_TRIGGER_AFTER_WHEEL_FITTED) {
			continue
		}
		for id, s := range m.steps {
			if s.GetItem() == item.GetId() {
				known[id[strings.IndexByte(id, '/')+1:]] = s
			}
		}
	}
	field := req.ProtoReflect().Descriptor().Fields().ByName("odometer_km")
	for _, name := range req.GetWheels() {
		s := known[name]
		if s == nil {
			return nil, fault.New(fault.NotFound, "WHEEL_UNKNOWN", "%s has no wheel %q that is torqued again; it has %s", m.vehicle.GetCallSign(), name, orNone(sortedKeys(known))).
				At("wheels", "no such wheel")
		}
		w := &pb.WheelFitted{StepId: s.GetStepId(), Title: s.GetPlace().GetTitle(), Fitted: timestamppb.New(fitted)}
		if req.ProtoReflect().Has(field) {
			w.OdometerKm = proto.Float64(req.GetOdometerKm())
		}
		all = append(all, w)
	}
	slices.SortFunc(all, byStep)
	return all, nil
}

func orNone(names []string) string { return cmp.Or(strings.Join(names, ", "), "none") }

func byStep(a, b *pb.WheelFitted) int { return strings.Compare(a.GetStepId(), b.GetStepId()) }

// wheelsFitted begins the timers of wheels; one that ran already begins anew, unless what
// comes late was told before that wheel was off again.
func (st *state) wheelsFitted(v *vehicle, ev *pb.JournalEvent, rows *rowSet) error {
	told := proto.CloneOf(v.happenings.told)
	for _, w := range ev.GetWheelsFitted().GetWheels() {
		i, timed := slices.BinarySearchFunc(told.GetWheels(), w, byStep)
		switch {
		case !timed:
			told.Wheels = slices.Insert(told.GetWheels(), i, w)
		case !toldBefore(ev, w, told.GetWheels()[i]):
			told.Wheels[i] = w
		}
	}
	return st.putHappenings(v, told, rows)
}

// toldBefore tells that a device told of a fitting before another, later one was made.
func toldBefore(ev *pb.JournalEvent, w, other *pb.WheelFitted) bool {
	fitted := other.GetFitted().AsTime()
	return ev.GetDeviceTime() != nil && ev.GetDeviceTime().AsTime().Before(fitted) && w.GetFitted().AsTime().Before(fitted)
}

// odometerRead takes from the conditions of a round what the odometer showed, if that was
// read later than what is known.
func (st *state) odometerRead(v *vehicle, said *pb.RoundConditions, device *timestamppb.Timestamp, rows *rowSet) error {
	if said == nil || said.OdometerKm == nil {
		return nil
	}
	at := st.station
	if device != nil && device.AsTime().Before(at) {
		at = device.AsTime()
	}
	if known := v.happenings.told.GetOdometer(); known != nil && at.Before(known.GetAt().AsTime()) {
		return nil
	}
	told := proto.CloneOf(v.happenings.told)
	told.Odometer = &pb.OdometerRead{At: timestamppb.New(at), Km: said.GetOdometerKm()}
	return st.putHappenings(v, told, rows)
}

// wheelTorqued ends the timer of a wheel at whose step somebody recorded that it was torqued
// again, after that had fallen due: before it, the nuts have not settled.
func (st *state) wheelTorqued(v *vehicle, res *pb.Result, rows *rowSet) error {
	wheels := v.happenings.told.GetWheels()
	i, timed := slices.BinarySearchFunc(wheels, &pb.WheelFitted{StepId: res.GetStepId()}, byStep)
	if !timed || !v.model.done(res) {
		return nil
	}
	looked := verdict.Looked(res)
	_, now := retorqueOf(wheels[i], v.happenings.told.GetOdometer(), looked)
	if looked.Before(wheels[i].GetFitted().AsTime()) || now.State == schedule.RetorqueComing {
		return nil
	}
	told := proto.CloneOf(v.happenings.told)
	told.Wheels = slices.Delete(told.Wheels, i, i+1)
	return st.putHappenings(v, told, rows)
}

// done tells that what was seen at a step of the vehicle is the first of its sound
// conditions: what is asked for was done. That a wheel was not off is sound, too, and ends
// nothing.
func (m *model) done(res *pb.Result) bool {
	s, seen := m.steps[res.GetStepId()], res.GetSeen().GetConditions()
	if s == nil || len(seen) != 1 {
		return false
	}
	i := slices.IndexFunc(s.GetConditions(), (*pb.Condition).GetSound)
	return i >= 0 && s.GetConditions()[i].GetId() == seen[0].GetCondition()
}

// retorqueOf is the timer of a wheel. A reading from before the wheel was fitted tells
// nothing of what was driven since.
func retorqueOf(w *pb.WheelFitted, odometer *pb.OdometerRead, now time.Time) (schedule.WheelFitted, schedule.Retorque) {
	fitted := schedule.WheelFitted{At: w.GetFitted().AsTime(), OdometerKm: math.NaN()}
	if w.OdometerKm != nil {
		fitted.OdometerKm = w.GetOdometerKm()
	}
	reading := fitted.OdometerKm
	if readSince(odometer, fitted) {
		reading = odometer.GetKm()
	}
	return fitted, fitted.Retorque(now, reading)
}

func readSince(odometer *pb.OdometerRead, w schedule.WheelFitted) bool {
	return odometer != nil && !odometer.GetAt().AsTime().Before(w.At)
}

// wheelsOf are the wheels that make a line due.
func (s *snapshot) wheelsOf(line timetableLine) (all []*pb.WheelFitted) {
	for _, w := range s.happenings.told.GetWheels() {
		if line.wheels && slices.Contains(line.steps, w.GetStepId()) {
			all = append(all, w)
		}
	}
	return all
}

func (s *snapshot) wheelDue(w *pb.WheelFitted, now time.Time) schedule.Due {
	odometer := s.happenings.told.GetOdometer()
	fitted, r := retorqueOf(w, odometer, now)
	return r.Due(fitted, odometer.GetAt().AsTime())
}

// wheelsWords say how the worst wheel stands, and how many there are beside it.
func (s *snapshot) wheelsWords(c schedule.Calendar, line timetableLine, now time.Time) string {
	wheels := s.wheelsOf(line)
	worst := wheels[0]
	for _, w := range wheels[1:] {
		if s.wheelDue(w, now).Worse(s.wheelDue(worst, now)) {
			worst = w
		}
	}
	words := s.wheelWords(c, line, worst, now)
	if more := len(wheels) - 1; more > 0 {
		words += fmt.Sprintf("; and %d more", more)
	}
	return words
}

func (s *snapshot) wheelWords(c schedule.Calendar, line timetableLine, w *pb.WheelFitted, now time.Time) string {
	odometer := s.happenings.told.GetOdometer()
	fitted, r := retorqueOf(w, odometer, now)
	return c.RetorqueWords(line.routine.GetTitle()+", "+w.GetTitle(), fitted, r, readSince(odometer, fitted))
}

// wheelsFeed are the wheels to be torqued again, by their time.
func (s *snapshot) wheelsFeed(t timetable, now, until time.Time) (events []schedule.FeedEvent) {
	for _, line := range t.lines {
		for _, w := range s.wheelsOf(line) {
			_, r := retorqueOf(w, s.happenings.told.GetOdometer(), now)
			if !r.DueAt.Before(until) {
				continue
			}
			events = append(events, schedule.FeedEvent{
				Key:    s.model.vehicle.GetName() + " " + w.GetStepId() + " " + w.GetFitted().AsTime().UTC().Format(time.RFC3339),
				Starts: r.DueAt, Summary: s.spoken() + " " + line.routine.GetTitle(),
				Description: s.wheelWords(t.calendar, line, w, now),
			})
		}
	}
	return events
}
