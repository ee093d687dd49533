package station_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/schedule"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Steps of which something may wait: a leaking valve takes the vehicle off the run, a
// low pressure limits it, a cracked screen takes nothing away.
const (
	valve = "TYR-010/axle-1-nearside"
	low   = "TYR-010/axle-1-offside"
)

// deferring is the small station with officers, and a pack that lets some things wait.
func deferring(t *testing.T) *stationtest.Kit {
	t.Helper()
	clock := stationtest.NewClock()
	return stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: stationtest.SmallDeferring(t)})
}

// leaking is a result that finds the valve leaking, lowAt one of a low pressure.
func leaking(step string) *pb.Result {
	return stationtest.Beside(stationtest.Read(step, "pressure", 8, "bar"), "03")
}
func lowAt(step string) *pb.Result { return stationtest.Read(step, "pressure", 6, "bar") }

// slow is a limit under which something may wait.
func slow() []*pb.Restriction {
	return []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_TASK, Text: "no motorway"}}
}

// openAt names the open defect at a step.
func openAt(k *stationtest.Kit, step string) string {
	k.T.Helper()
	for _, d := range k.Readiness(p1).GetOpenDefects() {
		if d.GetStepId() == step {
			return d.GetName()
		}
	}
	k.T.Fatalf("nothing is open at %s", step)
	return ""
}

func until(t time.Time) *timestamppb.Timestamp { return timestamppb.New(t) }

func deferTill(k *stationtest.Kit, defect string, till *timestamppb.Timestamp, with ...string) *pb.DeferDefectResponse {
	k.T.Helper()
	resp, err := k.DeferDefect(ctx, &pb.DeferDefectRequest{
		RequestId: k.ID(), Defect: defect, Person: "people/officer", Reason: "part is ordered", Restrictions: slow(), Until: till, TogetherWith: with,
	})
	if err != nil {
		k.T.Fatalf("deferring: %v", err)
	}
	return resp
}

// What a deferral holds back comes back at the second at which it expires, also over
// the night on which clocks go forward (29 March 2026, 01:00 UTC, EU Directive
// 2000/84/EC; Great Britain keeps the same instant), and is warned of before.
func TestDeferDefect_ExpiresToTheSecond(t *testing.T) {
	k := deferring(t)
	k.Clock.Advance(time.Date(2026, time.March, 28, 20, 0, 0, 0, time.UTC).Sub(stationtest.Morning))
	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	if r := k.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_MOVE_ONLY {
		t.Fatalf("%v with a leaking valve", r.GetVerdict())
	}
	expires := time.Date(2026, time.March, 29, 1, 30, 0, 0, time.UTC) // 02:30 by the local clock, which jumped from 1:00 to 2:00
	resp := deferTill(k, openAt(k, valve), until(expires))
	if got := resp.GetDefect().GetDeferral().GetExpiresLocal(); got != "2026-03-29 02:30" || resp.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("until %s local, %v", got, resp.GetReadiness().GetVerdict())
	}
	for _, at := range []struct {
		instant time.Time
		verdict pb.Verdict
		next    time.Time // it changes by itself; zero for a later day
		text    string
	}{
		{expires.Add(-4*time.Hour - time.Second), pb.Verdict_VERDICT_RESTRICTED, expires.Add(-4 * time.Hour), "The valve leaks. It may wait until 2026-03-29 02:30, less than 48 h from now."},
		{expires.Add(-4 * time.Hour), pb.Verdict_VERDICT_RESTRICTED, expires, "The valve leaks. It may wait until 2026-03-29 02:30, less than 4 h from now."},
		{expires.Add(-time.Second), pb.Verdict_VERDICT_RESTRICTED, expires, "The valve leaks. It may wait until 2026-03-29 02:30, less than 4 h from now."},
		{expires, pb.Verdict_VERDICT_MOVE_ONLY, time.Date(2026, time.March, 29, 10, 0, 0, 0, time.UTC), "The valve leaks. It could wait until 2026-03-29 02:30, and that is over."},
	} {
		k.Clock.Advance(at.instant.Sub(k.Clock.Now()))
		r := k.Readiness(p1)
		if r.GetVerdict() != at.verdict || !r.GetUntil().AsTime().Truncate(time.Second).Equal(at.next) {
			t.Errorf("%v: %v until %v, want %v until %v", at.instant, r.GetVerdict(), r.GetUntil().AsTime(), at.verdict, at.next)
		}
		if got := r.GetReasons()[0].GetText(); !strings.HasSuffix(got, at.text) {
			t.Errorf("%v: %q, want …%q", at.instant, got, at.text)
		}
	}
	r := k.Readiness(p1)
	if !r.GetSince().AsTime().Equal(expires) || r.GetOpenDefects()[0].GetState() != pb.DefectState_DEFECT_STATE_OPEN {
		t.Errorf("since %v, %v; want since %v, open", r.GetSince().AsTime(), r.GetOpenDefects()[0].GetState(), expires)
	}
	k.Reopen()
	if diff := cmp.Diff(r, k.Readiness(p1), protocmp.Transform(), protocmp.IgnoreFields(&pb.Readiness{}, "as_of")); diff != "" {
		t.Errorf("after a restart:\n%s", diff)
	}
}

// A deferral until a time that the clocks skip, or show twice, ends at one instant and to
// the second; and calendar days are counted by the clocks on the wall, whatever the change
// makes of their length. Sources: EU Directive 2000/84/EC for the changes, on 29 March and
// 25 October 2026 at 01:00 UTC, which Great Britain keeps; RFC 5545, section 3.3.5, for what
// a skipped or doubled time means; EASA CS MMEL.105 (b) and (d) for calendar days without
// the day of discovery.
func TestDeferDefect_AcrossBothChangesOfClocks(t *testing.T) {
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	at := func(month time.Month, day, hour, minute int) time.Time {
		return time.Date(2026, month, day, hour, minute, 0, 0, time.UTC)
	}
	for _, tc := range []struct {
		name   string
		found  time.Time
		date   schedule.Date
		clock  schedule.TimeOfDay
		ends   time.Time
		local  string    // as people read it
		latest time.Time // three days, the day of discovery not counted
	}{
		{"skipped", at(3, 28, 9, 0), schedule.Date{Year: 2026, Month: 3, Day: 29}, schedule.TimeOfDay{Hour: 1, Minute: 30}, at(3, 29, 1, 30), "2026-03-29 02:30", at(3, 31, 23, 0)},
		{"shown twice", at(10, 24, 8, 0), schedule.Date{Year: 2026, Month: 10, Day: 25}, schedule.TimeOfDay{Hour: 1, Minute: 30}, at(10, 25, 0, 30), "2026-10-25 01:30", at(10, 28, 0, 0)},
		{"the last day holds the change forward", at(3, 26, 9, 0), schedule.Date{Year: 2026, Month: 3, Day: 30}, schedule.TimeOfDay{}, at(3, 29, 23, 0), "2026-03-30 00:00", at(3, 29, 23, 0)},
		{"the last day holds the change back", at(10, 22, 8, 0), schedule.Date{Year: 2026, Month: 10, Day: 26}, schedule.TimeOfDay{}, at(10, 26, 0, 0), "2026-10-26 00:00", at(10, 26, 0, 0)},
	} {
		t.Run(tc.name, func(t *testing.T) {
			k := deferring(t)
			k.Clock.Advance(tc.found.Sub(k.Clock.Now()))
			k.Record(k.RecordAll(p1, shift), leaking(valve))
			name := openAt(k, valve)
			right, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
			if got := right.GetRight().GetLatest().AsTime(); err != nil || !got.Equal(tc.latest) {
				t.Fatalf("it may wait until %v (%v), want %v", got, err, tc.latest)
			}
			_, err = k.DeferDefect(ctx, &pb.DeferDefectRequest{
				RequestId: k.ID(), Defect: name, Person: "people/officer", Reason: "r", Restrictions: slow(), Until: until(tc.latest.Add(time.Second)),
			})
			refusal{fault.Precondition, "NOT_DUTY_OFFICER"}.check(t, err)
			decided := deferTill(k, name, until(tc.date.At(tc.clock, zone))).GetDefect().GetDeferral()
			if !decided.GetExpires().AsTime().Equal(tc.ends) || decided.GetExpiresLocal() != tc.local {
				t.Fatalf("it ends at %v, %s; want %v, %s", decided.GetExpires().AsTime(), decided.GetExpiresLocal(), tc.ends, tc.local)
			}
			for _, is := range []struct {
				instant time.Time
				want    pb.DefectState
			}{{tc.ends.Add(-time.Second), pb.DefectState_DEFECT_STATE_DEFERRED}, {tc.ends, pb.DefectState_DEFECT_STATE_OPEN}} {
				k.Clock.Advance(is.instant.Sub(k.Clock.Now()))
				got, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
				if err != nil || got.GetDefect().GetState() != is.want {
					t.Errorf("%v: %v (%v), want %v", is.instant, got.GetDefect().GetState(), err, is.want)
				}
			}
		})
	}
}

// Two deferrals on one system are more than each, until one is put right.
func TestDeferDefect_TwoOnOneSystem(t *testing.T) {
	k := deferring(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	k.Record(round, lowAt(low))
	first, second := openAt(k, valve), openAt(k, low)
	if v := deferTill(k, first, nil).GetReadiness().GetVerdict(); v != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("one: %v", v)
	}
	ask := &pb.DeferDefectRequest{RequestId: k.ID(), Defect: second, Person: "people/officer", Reason: "r", Restrictions: slow()}
	_, err := k.DeferDefect(ctx, ask)
	refusal{fault.Precondition, "TOGETHER_NOT_SEEN"}.check(t, err)
	got, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: second})
	if err != nil || len(got.GetRight().GetTogetherWith()) != 1 || got.GetRight().GetTogetherWith()[0] != first || got.GetRight().GetDays() != 10 {
		t.Errorf("its right: %v (%v), want ten days together with %s", got.GetRight(), err, first)
	}
	r := deferTill(k, second, nil, first).GetReadiness()
	together := r.GetReasons()[0].GetTogether()
	if r.GetVerdict() != pb.Verdict_VERDICT_MOVE_ONLY || together.GetSystem().GetId() != "tyres" || len(together.GetDefects()) != 2 {
		t.Errorf("both: %v because %v", r.GetVerdict(), r.GetReasons()[0])
	}
	if ways := r.GetWaysBack(); len(ways) == 0 || len(ways[0].GetRepairDefects()) != 1 || ways[0].GetLeadsTo() != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("ways back %v, want the repair of one of them", ways)
	}
	put := func(name string) {
		if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "new valve", Parts: []string{"valve"}}); err != nil {
			t.Fatal(err)
		}
	}
	put(first)
	k.Record(round, stationtest.Read(valve, "pressure", 8.5, "bar"))
	if r := k.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("one was put right: %v because %v", r.GetVerdict(), r.GetReasons())
	}
}

// A look that finds the same fault again changes nothing of its deferral; a worse one
// at another rule's fault is a defect of its own.
func TestDeferDefect_FoundAgainWhileItWaits(t *testing.T) {
	k := deferring(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	name := openAt(k, valve)
	before := deferTill(k, name, nil).GetDefect()
	again := k.Record(round, leaking(valve))
	after, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
	if err != nil || again.GetVerdict() != pb.Verdict_VERDICT_RESTRICTED || after.GetDefect().GetTimesFound() != 2 || !proto.Equal(before.GetDeferral(), after.GetDefect().GetDeferral()) {
		t.Errorf("%v, %v (%v)", again.GetVerdict(), after.GetDefect(), err)
	}
	ended, err := k.EndDeferral(ctx, &pb.EndDeferralRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Because: "it loses more"})
	if err != nil || ended.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_MOVE_ONLY || ended.GetDefect().GetDeferral().GetEndedBy() != "people/mechanic" {
		t.Errorf("ended: %v (%v)", ended, err)
	}
}

// Whoever looks again and says that it is worse ends the deferral, though the fault and
// its grade are the same: the officer let something else wait. What was looked at before
// the officer decided ends nothing.
func TestDeferDefect_FoundAgainAndWorse(t *testing.T) {
	k := deferring(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	name := openAt(k, valve)
	looked := k.Clock.Now()
	k.Clock.Advance(time.Minute)
	deferTill(k, name, nil)
	worse := func(at time.Time) pb.Verdict {
		k.Clock.Advance(time.Minute)
		req := k.Request(round, leaking(valve))
		req.Result.Worse, req.Result.DeviceTime = true, timestamppb.New(at)
		resp, err := k.RecordResult(ctx, req)
		if err != nil {
			t.Fatal(err)
		}
		return resp.GetVerdict()
	}
	if v := worse(looked); v != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("a look from before the deferral: %v", v)
	}
	if v := worse(k.Clock.Now().Add(time.Minute)); v != pb.Verdict_VERDICT_MOVE_ONLY {
		t.Errorf("found worse: %v", v)
	}
	k.Reopen()
	d, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
	if got := d.GetDefect(); err != nil || got.GetState() != pb.DefectState_DEFECT_STATE_OPEN || got.GetDeferral().GetEndedBy() != "people/driver" {
		t.Errorf("%v, ended by %q (%v)", got.GetState(), got.GetDeferral().GetEndedBy(), err)
	}
	if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_MOVE_ONLY {
		t.Errorf("after a restart: %v", v)
	}
	again := deferTill(k, name, nil)
	if again.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("the officer decides anew: %v", again.GetReadiness().GetVerdict())
	}
}

// One that takes nothing away needs no limit, and over its interval it limits.
func TestDeferDefect_WhatTakesNothingAway(t *testing.T) {
	k := deferring(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, stationtest.Seen(screen, "01"))
	resp, err := k.DeferDefect(ctx, &pb.DeferDefectRequest{
		RequestId: k.ID(), Defect: openAt(k, screen), Person: "people/officer", Reason: "glass is ordered", Until: until(k.Clock.Now().Add(time.Hour)),
	})
	if err != nil || resp.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("%v (%v)", resp.GetReadiness().GetVerdict(), err)
	}
	k.Clock.Advance(time.Hour)
	if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_RESTRICTED {
		t.Errorf("%v when it is over", v)
	}
}

func TestDeferDefect_Refusals(t *testing.T) {
	k := deferring(t)
	round := k.RecordAll(p1, shift)
	k.Record(round, leaking(valve))
	k.Record(round, stationtest.Seen(screen, "03"))
	k.Clock.Advance(time.Second)
	name, shattered := openAt(k, valve), openAt(k, screen)
	latest := time.Date(2026, time.March, 6, 0, 0, 0, 0, time.UTC) // found on Monday 2 March; three days after it
	base := &pb.DeferDefectRequest{Defect: name, Person: "people/officer", Reason: "r", Restrictions: slow()}
	type change = func(*pb.DeferDefectRequest)
	try := func(of string, want refusal, with change) {
		t.Helper()
		req := proto.CloneOf(base)
		req.RequestId = k.ID()
		with(req)
		_, err := k.DeferDefect(ctx, req)
		t.Run(of, func(t *testing.T) { want.check(t, err) })
	}
	no := func(reason string) refusal { return refusal{fault.Precondition, reason} }
	try("no such vehicle", refusal{fault.NotFound, "VEHICLE_UNKNOWN"}, func(r *pb.DeferDefectRequest) { r.Defect = "vehicles/p9/defects/00" })
	try("no such defect", refusal{fault.NotFound, "DEFECT_UNKNOWN"}, func(r *pb.DeferDefectRequest) { r.Defect = p1 + "/defects/00" })
	try("no such person", refusal{fault.NotFound, "PERSON_UNKNOWN"}, func(r *pb.DeferDefectRequest) { r.Person = "people/nobody" })
	try("a driver", no("NOT_OFFICER"), func(r *pb.DeferDefectRequest) { r.Person = "people/driver" })
	try("the workshop", no("NOT_OFFICER"), func(r *pb.DeferDefectRequest) { r.Person = "people/mechanic" })
	try("dangerous", no("NOT_DEFERRABLE"), func(r *pb.DeferDefectRequest) { r.Defect = shattered })
	try("without a limit", no("RESTRICTION_MISSING"), func(r *pb.DeferDefectRequest) { r.Restrictions = nil })
	try("together with what does not wait", no("TOGETHER_NOT_SEEN"), func(r *pb.DeferDefectRequest) { r.TogetherWith = []string{shattered} })
	try("until now", no("DEFERRAL_PAST"), func(r *pb.DeferDefectRequest) { r.Until = until(k.Clock.Now()) })
	try("a second too long for an officer", no("NOT_DUTY_OFFICER"), func(r *pb.DeferDefectRequest) { r.Until = until(latest.Add(time.Second)) })
	try("a second too long for anybody", no("DEFERRAL_TOO_LONG"), func(r *pb.DeferDefectRequest) {
		r.Person, r.Until = "people/duty", until(latest.AddDate(0, 0, 3).Add(time.Second))
	})
	try("to the last second", refusal{}, func(r *pb.DeferDefectRequest) { r.Until = until(latest) })
	end := &pb.EndDeferralRequest{RequestId: k.ID(), Defect: name, Person: "people/driver", Because: "b"}
	_, err := k.EndDeferral(ctx, end)
	no("NOT_OFFICER").check(t, err)
	k.Clock.Advance(latest.Sub(k.Clock.Now()))
	end.RequestId, end.Person = k.ID(), "people/officer"
	_, err = k.EndDeferral(ctx, end)
	no("NOT_DEFERRED").check(t, err)
	try("the interval is over", no("NOT_DUTY_OFFICER"), func(*pb.DeferDefectRequest) {})
	try("extended by the duty officer", refusal{}, func(r *pb.DeferDefectRequest) { r.Person = "people/duty" })
	got, err := k.GetDefect(ctx, &pb.GetDefectRequest{Name: name})
	if d := got.GetDefect().GetDeferral(); err != nil || d.GetExtensions() != 1 || !d.GetExpires().AsTime().Equal(latest.AddDate(0, 0, 3)) {
		t.Errorf("extended: %v (%v)", d, err)
	}
	k.Clock.Advance(3 * 24 * time.Hour)
	try("extended once, and that is over", no("DEFERRAL_TOO_LONG"), func(r *pb.DeferDefectRequest) { r.Person = "people/duty" })
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: name, Person: "people/mechanic", Done: "new valve"}); err != nil {
		t.Fatal(err)
	}
	try("repaired", no("DEFECT_NOT_OPEN"), func(*pb.DeferDefectRequest) {})
}

// The same command again gives the same answer and does nothing twice.
func TestDeferDefect_RepeatedCommand(t *testing.T) {
	k := deferring(t)
	k.Record(k.RecordAll(p1, shift), leaking(valve))
	req := &pb.DeferDefectRequest{RequestId: k.ID(), Defect: openAt(k, valve), Person: "people/officer", Reason: "r", Restrictions: slow()}
	first, err := k.DeferDefect(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Minute)
	second, err := k.DeferDefect(ctx, req)
	if diff := cmp.Diff(first, second, protocmp.Transform()); err != nil || diff != "" {
		t.Errorf("%v:\n%s", err, diff)
	}
	req.Reason = "another"
	_, err = k.DeferDefect(ctx, req)
	refusal{fault.Exists, "COMMAND_ID_REUSED"}.check(t, err)
}
