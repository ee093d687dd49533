package station_test

import (
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const (
	retorque = "routines/re-torque"
	front    = "WHL-200/axle-1-nearside"
)

// wheeled is the small station, scheduled, with a routine for wheels that were off, and
// altered further as is said.
func wheeled(t *testing.T, oldNew ...string) *stationtest.Kit {
	t.Helper()
	k := stationtest.Open(t)
	k.Clock.Advance(time.Minute)
	k.ApplyAltered(append(oldNew, "    time_zone: Europe/London\n", watches, "routines:\n  - {name: routines/shift,", `    - id: WHL-200
      title: Wheel torqued again
      stop: side
      family: Wheels
      prompt: Read the torque record.
      answer_kind: ANSWER_KIND_CONDITION
      conditions:
        - {id: sound, text: torqued again, sound: true}
        - {id: "01", text: overdue, fault: WHL-200-01}
        - {id: not-off, text: this wheel was not off, sound: true}
      faults:
        - {id: WHL-200-01, text: Second torque check overdue, driver_does: Tell the officer., source: common practice}
      state: {engine: ENGINE_STATE_OFF}
      position: POSITION_OUTSIDE
      fits_any: [powered]
      repeat_over: REPEAT_OVER_AXLE_ENDS
      triggers: [TRIGGER_AFTER_WHEEL_FITTED]
      good_for: 8784h
      source: common practice
routines:
  - {name: routines/re-torque, title: wheel nuts torqued again, triggers: [TRIGGER_AFTER_WHEEL_FITTED], occasions: [{after: {kinds: [HAPPENING_KIND_WHEEL_FITTED]}}]}
  - {name: routines/shift,`)...)
	return k
}

func fit(k *stationtest.Kit, change func(*pb.RecordWheelsFittedRequest)) (*pb.RecordWheelsFittedResponse, error) {
	req := &pb.RecordWheelsFittedRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/mechanic", Wheels: []string{"axle-1-nearside"}, OdometerKm: proto.Float64(52_100)}
	change(req)
	return k.RecordWheelsFitted(ctx, req)
}

// torqueRound opens a round for wheels, with what the odometer shows.
func torqueRound(k *stationtest.Kit, km float64) string {
	k.T.Helper()
	name := "rounds/" + k.ID()
	_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: name, Vehicle: p1, Routine: retorque, Driver: "people/driver", Device: "tablet-1", Conditions: &pb.RoundConditions{OdometerKm: proto.Float64(km)},
	})
	if err != nil {
		k.T.Fatal(err)
	}
	return name
}

// A wheel that was off is to be torqued again after 30 minutes standing or 40 to 80 km
// (wheel-fastener-limits.csv, "UK practice"), and only that, done when it has fallen due, is
// the end of it.
func TestWheels_AreDueByTimeOrDistanceUntilTorquedAgain(t *testing.T) {
	k := wheeled(t)
	hold(t, "no wheel was off", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_QUIET, "-", "-")
	resp, err := fit(k, func(*pb.RecordWheelsFittedRequest) {}) // Monday 2 March, 07:31
	if err != nil || len(resp.GetDues()) != 1 || resp.GetDues()[0].GetText() != "wheel nuts torqued again, front axle, nearside: due Mon 2 Mar 08:01 or after 40 km" {
		t.Fatalf("fitted: %v (%v)", resp, err)
	}
	hold(t, "fitted", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_COMING, "Mon 2 08:01", "-")
	feed, err := k.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: "stations/quay"})
	if err != nil || !strings.Contains(feed.GetCalendar(), "wheel nuts torqued again") || !strings.Contains(feed.GetCalendar(), "DTSTART:20260302T080100Z") {
		t.Errorf("the calendar says %s (%v)", feed.GetCalendar(), err)
	}
	k.Clock.Advance(10 * time.Minute)
	k.Record(torqueRound(k, 52_100), stationtest.Seen(front, "sound"))
	hold(t, "torqued before the nuts have settled", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_COMING, "Mon 2 08:01", "-")
	k.Clock.Advance(19 * time.Minute)
	round := torqueRound(k, 52_140)
	hold(t, "40 km before the half hour", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_DUE, "Mon 2 08:00", "-")
	if said := k.Readiness(p1).GetRoutineDues(); len(said) == 0 || !strings.Contains(said[0].GetText(), "40 km driven), overdue at 80 km") || said[0].GetOpenSteps() != 1 {
		t.Errorf("readiness says %v", said)
	}
	k.Clock.Advance(time.Hour)
	k.Record(round, stationtest.Seen(front, "01")) // it is overdue, says the driver
	k.Record(round, stationtest.Seen("WHL-200/axle-1-offside", "not-off"))
	k.Record(round, stationtest.Seen(front, "not-off")) // it was
	torqueRound(k, 52_180)
	hold(t, "80 km", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_OVERDUE, "Mon 2 08:01", "Mon 2 09:00")
	twin := k.Twin()
	twin.AdoptLibrary(k)
	twin.AdoptStanding(k, p1)
	if ours, theirs := dueOf(t, k, p1, retorque), dueOf(t, twin, p1, retorque); !proto.Equal(ours, theirs) {
		t.Errorf("the station says %v, the twin %v", ours, theirs)
	}
	again := func() {
		k.Close()
		if _, err := station.Rebuild(ctx, k.Dir(), slog.New(slog.DiscardHandler)); err != nil {
			t.Fatal(err)
		}
		k.Reopen()
	}
	again()
	hold(t, "from the events", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_OVERDUE, "Mon 2 08:01", "Mon 2 09:00")
	k.Record(round, stationtest.Seen(front, "sound"))
	hold(t, "torqued again", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_QUIET, "-", "-")
	again()
	hold(t, "from the events, torqued again", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_QUIET, "-", "-")
}

// A repair says which wheels were off for it. Without a reading nobody can tell how far the
// vehicle was driven, and that is no reprieve.
func TestWheels_OfARepair(t *testing.T) {
	k := wheeled(t)
	k.Record(k.RecordAll(p1, shift), leaking(valve))
	k.Clock.Advance(time.Minute)
	req := &pb.RecordRepairRequest{RequestId: k.ID(), Defect: openAt(k, valve), Person: "people/mechanic", Done: "valve renewed", Wheels: []string{"axle-9-nearside"}}
	_, err := k.RecordRepair(ctx, req)
	refusal{fault.NotFound, "WHEEL_UNKNOWN"}.check(t, err)
	req.RequestId, req.Wheels = k.ID(), []string{"axle-2-offside", "axle-1-nearside"}
	if _, err := k.RecordRepair(ctx, req); err != nil {
		t.Fatal(err)
	}
	d := dueOf(t, k, p1, retorque)
	hold(t, "without a reading", d, pb.DueState_DUE_STATE_OVERDUE, "Mon 2 07:32", "Mon 2 07:32")
	if !strings.Contains(d.GetText(), "no odometer reading") || !strings.HasSuffix(d.GetText(), "; and 1 more") || d.GetOpenSteps() != 2 {
		t.Errorf("it says %v", d)
	}
	k.Clock.Advance(time.Minute)
	k.Record(torqueRound(k, 52_100), stationtest.Seen(front, "sound"))
	if d := dueOf(t, k, p1, retorque); d.GetState() != pb.DueState_DUE_STATE_OVERDUE || d.GetOpenSteps() != 1 || !strings.Contains(d.GetText(), "rear axle, offside") {
		t.Errorf("one of two: %v", d)
	}
}

func TestWheels_Refusals(t *testing.T) {
	k := wheeled(t)
	for _, row := range []struct {
		kind   fault.Kind
		reason string
		change func(*pb.RecordWheelsFittedRequest)
	}{
		{fault.NotFound, "VEHICLE_UNKNOWN", func(r *pb.RecordWheelsFittedRequest) { r.Vehicle = "vehicles/none" }},
		{fault.NotFound, "WHEEL_UNKNOWN", func(r *pb.RecordWheelsFittedRequest) { r.Wheels = []string{"axle-1-middle"} }},
		{fault.NotFound, "PERSON_UNKNOWN", func(r *pb.RecordWheelsFittedRequest) { r.Person = "people/none" }},
		{fault.Invalid, "FITTED_LATER", func(r *pb.RecordWheelsFittedRequest) { r.Fitted = timestamppb.New(k.Clock.Now().Add(time.Hour)) }},
		{fault.Invalid, "FITTED_LATER", func(r *pb.RecordWheelsFittedRequest) { // not even by its own clock
			r.Fitted, r.DeviceTime = timestamppb.New(k.Clock.Now().Add(time.Hour)), timestamppb.New(k.Clock.Now().Add(59*time.Minute))
		}},
	} {
		_, err := fit(k, row.change)
		refusal{row.kind, row.reason}.check(t, err)
	}
}

// A tablet may tell late, and its clock may be ahead: what it told then was now, and the
// role that counts is the one of then.
func TestWheels_ToldByATabletLateOrAhead(t *testing.T) {
	k := wheeled(t)
	withEveryRole(t, k)
	last := func() (told *pb.JournalEvent) {
		if err := k.Events(ctx, 1, func(ev *pb.JournalEvent) error { told = ev; return nil }); err != nil {
			t.Fatal(err)
		}
		return told
	}
	ahead := timestamppb.New(k.Clock.Now().Add(time.Hour))
	if _, err := fit(k, func(r *pb.RecordWheelsFittedRequest) { r.Fitted, r.DeviceTime = ahead, ahead }); err != nil {
		t.Fatal(err)
	}
	if ev := last(); !proto.Equal(ev.GetWheelsFitted().GetWheels()[0].GetFitted(), ev.GetStationTime()) {
		t.Errorf("by a clock that is ahead: %v", ev)
	}
	k.Clock.Advance(time.Hour)
	then := timestamppb.New(k.Clock.Now())
	k.Clock.Advance(time.Hour)
	control := only(pb.Role_ROLE_CONTROL)
	_, err := fit(k, func(r *pb.RecordWheelsFittedRequest) { r.Person = control })
	refusal{fault.Precondition, "NOT_OF_THE_STATION"}.check(t, err)
	if _, err := fit(k, func(r *pb.RecordWheelsFittedRequest) { r.Person, r.DeviceTime = control, then }); err != nil {
		t.Fatalf("told late: %v", err)
	}
	if ev := last(); !slices.Equal(ev.GetRoleUnproven(), []string{control}) {
		t.Errorf("told late by who had no role for it: %v", ev)
	}
}

// A tablet without the network delivers late that a wheel was fitted, and that it was torqued
// again. Meanwhile the workshop had it off once more: the nuts of that fitting are still to be
// torqued again, in whatever order it is told.
func TestWheels_OneToldLateEndsNoLaterTimer(t *testing.T) {
	k := wheeled(t)
	round := torqueRound(k, 52_100)
	early := timestamppb.New(k.Clock.Now())
	k.Clock.Advance(2 * time.Hour)
	if _, err := fit(k, func(*pb.RecordWheelsFittedRequest) {}); err != nil { // 09:31
		t.Fatal(err)
	}
	k.Clock.Advance(time.Minute)
	if _, err := fit(k, func(r *pb.RecordWheelsFittedRequest) { r.Fitted, r.DeviceTime = early, early }); err != nil {
		t.Fatal(err)
	}
	hold(t, "fitted earlier, told later", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_COMING, "Mon 2 10:01", "-")
	res := stationtest.Seen(front, "sound")
	res.DeviceTime = timestamppb.New(early.AsTime().Add(time.Hour))
	k.Record(round, res)
	hold(t, "torqued before the wheel was off again", dueOf(t, k, p1, retorque), pb.DueState_DUE_STATE_COMING, "Mon 2 10:01", "-")
}

// A reader of the calendar knows vehicles by what they answer to: the wheel of a reserve that
// stands in bears the call sign it has taken, as all else of it does.
func TestWheels_OfAReserveAreInTheCalendarUnderWhatItAnswersTo(t *testing.T) {
	k := wheeled(
		t, "  - {name: people/mechanic,", "  - {name: people/officer, title: Officer, roles: [ROLE_OFFICER]}\n  - {name: people/mechanic,",
		"    required_routines: [routines/shift, routines/weekly]", "    reserve: true\n    required_routines: [routines/shift]",
	)
	if _, err := k.MoveCallSign(ctx, move(k)); err != nil {
		t.Fatal(err)
	}
	if _, err := fit(k, func(r *pb.RecordWheelsFittedRequest) { r.Vehicle = p2 }); err != nil {
		t.Fatal(err)
	}
	feed, err := k.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: "stations/quay"})
	if err != nil || !strings.Contains(feed.GetCalendar(), "SUMMARY:Q1 (Q2) wheel nuts torqued again") {
		t.Errorf("the calendar says %s (%v)", feed.GetCalendar(), err)
	}
}
