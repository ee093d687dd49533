package station_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/google/go-cmp/cmp"

	"bayround/internal/catalogue"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const takeover = "routines/takeover"

// reserving is the small station with an officer, its second pump a reserve that is
// taller, and a routine for its takeover that asks for more than the shift.
func reserving(t *testing.T) *stationtest.Kit {
	t.Helper()
	content := stationtest.Small()[0].Content
	for _, change := range [][2]string{
		{"  - {name: people/mechanic,", "  - {name: people/officer, title: Officer, roles: [ROLE_OFFICER]}\n  - {name: people/mechanic,"},
		{"    required_routines: [routines/shift, routines/weekly]", "    reserve: true\n    required_routines: [routines/shift]"},
		{"    call_sign: Q2\n    title: pump\n", "    call_sign: Q2\n    title: reserve pump\n"},
		{"routines:\n", "routines:\n  - {name: routines/takeover, title: takeover, triggers: [TRIGGER_RESERVE_TAKEOVER, TRIGGER_SHIFT, TRIGGER_WEEKLY]}\n"},
	} {
		if n := bytes.Count(content, []byte(change[0])); n != 1 {
			t.Fatalf("the small configuration has %q %d times", change[0], n)
		}
		content = bytes.Replace(content, []byte(change[0]), []byte(change[1]), 1)
	}
	at := bytes.LastIndex(content, []byte("height_m: 3.3,"))
	content = append(content[:at:at], append([]byte("height_m: 3.44,"), content[at+len("height_m: 3.3,"):]...)...)
	clock := stationtest.NewClock()
	return stationtest.OpenWith(t, clock, station.Options{Dir: t.TempDir(), Now: clock.Now, Defaults: []catalogue.File{{Name: "small.yaml", Content: content}}})
}

func move(k *stationtest.Kit) *pb.MoveCallSignRequest {
	return &pb.MoveCallSignRequest{RequestId: k.ID(), CallSign: "q1", Vehicle: p2, Person: "people/officer", Reason: "lamp", ControlTold: true}
}

func giveBack(k *stationtest.Kit) *pb.ReturnCallSignRequest {
	return &pb.ReturnCallSignRequest{RequestId: k.ID(), CallSign: "Q1", Person: "people/officer", Reason: "repaired", ControlTold: true}
}

func byCallSign(t *testing.T, k *stationtest.Kit, callSign string, at time.Time) *pb.Readiness {
	t.Helper()
	req := &pb.GetReadinessRequest{CallSign: callSign}
	if !at.IsZero() {
		req.AsOf = timestamppb.New(at)
	}
	resp, err := k.GetReadiness(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	return resp.GetReadiness()
}

// unprovenOf says which steps prove nothing, and why.
func unprovenOf(r *pb.Readiness) map[string]pb.UnprovenCause {
	causes := map[string]pb.UnprovenCause{}
	for _, reason := range r.GetReasons() {
		for _, s := range reason.GetUnproven().GetSteps() {
			causes[s.GetStepId()] = s.GetCause()
		}
	}
	return causes
}

// A reserve is fully checked at its takeover, the return swap with the same rigour
// (guideline on changeovers to reserve units of one Canadian city, S69 of the job map,
// part A8): neither responds on what was known of it before.
func TestCallSign_MovesToAReserveAndBack(t *testing.T) {
	k := reserving(t)
	k.RecordAll(p1, shift)
	k.RecordAll(p2, shift)
	before := k.Clock.Now()
	k.Clock.Advance(time.Hour)
	if v := byCallSign(t, k, "Q1", time.Time{}); v.GetVehicle() != p1 || v.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Fatalf("before: %s is %v", v.GetVehicle(), v.GetVerdict())
	}

	req := move(k)
	moved, err := k.MoveCallSign(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	r := moved.GetReadiness()
	if r.GetVehicle() != p2 || r.GetAnswersTo() != "Q1" || r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("moved: %s answers to %q and is %v", r.GetVehicle(), r.GetAnswersTo(), r.GetVerdict())
	}
	if got := r.GetHolding().GetDifferences(); len(got) != 1 || got[0].GetText() != "0.14 m taller: 3.44 m" {
		t.Errorf("differences: %v", got)
	}
	steps := k.Plan(p2, takeover).GetSteps()
	causes := unprovenOf(r)
	for _, s := range steps {
		want := pb.UnprovenCause_UNPROVEN_CAUSE_TAKEN_OVER_SINCE
		if s.GetLast() == nil {
			want = pb.UnprovenCause_UNPROVEN_CAUSE_NEVER_ANSWERED
		}
		if causes[s.GetStepId()] != want {
			t.Errorf("%s: %v, want %v", s.GetStepId(), causes[s.GetStepId()], want)
		}
	}
	if required := len(k.Plan(p2, shift).GetSteps()); len(causes) != len(steps) || len(steps) <= required {
		t.Errorf("%d steps are unproven of %d of the takeover and %d of the shift", len(causes), len(steps), required)
	}
	again, err := k.MoveCallSign(ctx, req)
	if diff := cmp.Diff(moved, again, protocmp.Transform(), protocmp.IgnoreFields(&pb.Readiness{}, "as_of")); err != nil || diff != "" {
		t.Errorf("repeated: %v\n%s", err, diff)
	}
	if v := k.Readiness(p1); v.GetAnswersTo() != "" || v.GetHolding().GetOther() != p2 || v.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("the vehicle that gave it away answers to %q and is %v", v.GetAnswersTo(), v.GetVerdict())
	}
	if v := byCallSign(t, k, "Q1", time.Time{}); v.GetVehicle() != p2 {
		t.Errorf("%s answers to Q1", v.GetVehicle())
	}
	if v := byCallSign(t, k, "Q1", before); v.GetVehicle() != p1 {
		t.Errorf("%s answered to Q1 before", v.GetVehicle())
	}

	// A twin knows of it, and the check counts from the move on, also after a restart.
	twin := k.Twin()
	twin.AdoptLibrary(k)
	twin.AdoptStanding(k, p2)
	twin.AdoptStanding(k, p1)
	if v := twin.Readiness(p2); v.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || v.GetAnswersTo() != "Q1" || len(unprovenOf(v)) != len(steps) {
		t.Errorf("its twin: %v, answers to %q, %d unproven", v.GetVerdict(), v.GetAnswersTo(), len(unprovenOf(v)))
	}
	if twin.AdoptStanding(k, p2) {
		t.Error("the twin learns the same again")
	}
	k.Clock.Advance(time.Minute)
	k.RecordAll(p2, shift)
	if v := k.Readiness(p2); v.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("after the shift's steps alone: %v", v.GetVerdict())
	}
	k.Reopen()
	k.RecordAll(p2, takeover)
	k.Clock.Advance(time.Second)
	if v := byCallSign(t, k, "Q1", time.Time{}); v.GetVerdict() != pb.Verdict_VERDICT_FIT || v.GetHolding().GetChecked() == nil {
		t.Errorf("after its takeover check: %v, %v", v.GetVerdict(), v.GetReasons())
	}
	if !twin.AdoptStanding(k, p2) || twin.Readiness(p2).GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("its twin: %v", twin.Readiness(p2).GetReasons())
	}

	back, err := k.ReturnCallSign(ctx, giveBack(k))
	if err != nil {
		t.Fatal(err)
	}
	if r := back.GetReadiness(); r.GetVehicle() != p1 || r.GetAnswersTo() != "Q1" || r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("given back: %s answers to %q and is %v", r.GetVehicle(), r.GetAnswersTo(), r.GetVerdict())
	}
	if v := k.Readiness(p2); v.GetAnswersTo() != "Q2" || v.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("the reserve answers to %q and is %v", v.GetAnswersTo(), v.GetVerdict())
	}
	k.RecordAll(p1, takeover)
	if v := k.Readiness(p1); v.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Errorf("after it was checked: %v", v.GetReasons())
	}
}

// Who checks first and moves then has not checked in vain; a check of another day, one
// that was given up, and another routine do not count.
func TestCallSign_ATakeoverCheckAheadCounts(t *testing.T) {
	for name, test := range map[string]struct {
		routine string
		ahead   time.Duration
		end     func(t *testing.T, k *stationtest.Kit, round string)
		want    pb.Verdict
	}{
		"just within half a day":  {takeover, 12*time.Hour - time.Second, ended, pb.Verdict_VERDICT_FIT},
		"a second more":           {takeover, 12*time.Hour + time.Second, ended, pb.Verdict_VERDICT_UNPROVEN},
		"still open":              {takeover, time.Hour, func(*testing.T, *stationtest.Kit, string) {}, pb.Verdict_VERDICT_FIT},
		"given up":                {takeover, time.Hour, giveUp, pb.Verdict_VERDICT_UNPROVEN},
		"the shift's check alone": {shift, time.Hour, ended, pb.Verdict_VERDICT_UNPROVEN},
	} {
		t.Run(name, func(t *testing.T) {
			k := reserving(t)
			round := k.OpenRound(p2, test.routine)
			opened := k.Clock.Now()
			for _, s := range k.Plan(p2, test.routine).GetSteps() {
				k.Record(round, stationtest.Sound(s))
			}
			test.end(t, k, round)
			k.Clock.Advance(test.ahead - k.Clock.Now().Sub(opened))
			moved, err := k.MoveCallSign(ctx, move(k))
			if err != nil {
				t.Fatal(err)
			}
			if got := moved.GetReadiness(); got.GetVerdict() != test.want {
				t.Errorf("%v, want %v: %v", got.GetVerdict(), test.want, got.GetReasons())
			}
		})
	}
}

func ended(t *testing.T, k *stationtest.Kit, round string) { finish(t, k, round) }

func giveUp(t *testing.T, k *stationtest.Kit, round string) {
	t.Helper()
	if _, err := k.GiveUpRound(ctx, &pb.GiveUpRoundRequest{RequestId: k.ID(), Round: round, Note: "no time"}); err != nil {
		t.Fatal(err)
	}
}

func TestCallSign_WhatIsRefused(t *testing.T) {
	k := reserving(t)
	for name, test := range map[string]struct {
		by   func(*pb.MoveCallSignRequest)
		want string
	}{
		"by a driver":        {func(r *pb.MoveCallSignRequest) { r.Person = "people/driver" }, "NOT_OFFICER"},
		"nobody knows":       {func(r *pb.MoveCallSignRequest) { r.Person = "people/nobody" }, "PERSON_UNKNOWN"},
		"control not told":   {func(r *pb.MoveCallSignRequest) { r.ControlTold = false }, "CONTROL_NOT_TOLD"},
		"to no reserve":      {func(r *pb.MoveCallSignRequest) { r.CallSign, r.Vehicle = "Q2", p1 }, "NOT_RESERVE"},
		"to itself":          {func(r *pb.MoveCallSignRequest) { r.CallSign = "Q2" }, "STANDS_IN"},
		"unknown call sign":  {func(r *pb.MoveCallSignRequest) { r.CallSign = "Q9" }, "CALL_SIGN_UNKNOWN"},
		"to unknown vehicle": {func(r *pb.MoveCallSignRequest) { r.Vehicle = "vehicles/p9" }, "VEHICLE_UNKNOWN"},
	} {
		req := move(k)
		test.by(req)
		if _, err := k.MoveCallSign(ctx, req); refusedWith(err) != test.want {
			t.Errorf("%s: %v, want %s", name, err, test.want)
		}
	}
	untold := move(k)
	untold.ControlTold = false
	if _, err := k.MoveCallSign(ctx, untold); err == nil || !strings.Contains(err.Error(), "0.14 m taller: 3.44 m") {
		t.Errorf("what control must know is not said: %v", err)
	}
	if _, err := k.ReturnCallSign(ctx, giveBack(k)); refusedWith(err) != "CALL_SIGN_HOME" {
		t.Errorf("given back from home: %v", err)
	}
	if _, err := k.MoveCallSign(ctx, move(k)); err != nil {
		t.Fatal(err)
	}
	if _, err := k.MoveCallSign(ctx, move(k)); refusedWith(err) != "STANDS_IN" {
		t.Errorf("moved to where it is: %v", err)
	}
	if _, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{CallSign: "Q2"}); refusedWith(err) != "CALL_SIGN_UNANSWERED" {
		t.Errorf("nobody answers to Q2, and: %v", err)
	}
}

// Two vehicles under one call sign are told apart by nobody: asking for it is refused.
func TestCallSign_OfSeveralVehiclesIsNoName(t *testing.T) {
	k := reserving(t)
	k.ApplyAltered("call_sign: Q2", "call_sign: Q1")
	if _, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{CallSign: "Q1"}); refusedWith(err) != "CALL_SIGN_AMBIGUOUS" {
		t.Errorf("%v", err)
	}
}

// Who watches a call sign hears of the vehicle that answers to it, whichever it is.
func TestCallSign_IsWatchedFromVehicleToVehicle(t *testing.T) {
	k := reserving(t)
	l := watchFor(k, &pb.WatchReadinessRequest{CallSigns: []string{"Q1"}})
	defer l.cancel()
	if present := l.present(t); len(present) != 1 || present[p1] == nil {
		t.Fatalf("at first %v", present)
	}
	if _, err := k.MoveCallSign(ctx, move(k)); err != nil {
		t.Fatal(err)
	}
	if r := l.next().GetReadiness(); r.GetVehicle() != p2 || r.GetAnswersTo() != "Q1" {
		t.Errorf("after the move: %s answers to %s", r.GetVehicle(), r.GetAnswersTo())
	}
	if _, err := k.ReturnCallSign(ctx, giveBack(k)); err != nil {
		t.Fatal(err)
	}
	if r := l.next().GetReadiness(); r.GetVehicle() != p1 || r.GetAnswersTo() != "Q1" {
		t.Errorf("after it came back: %s answers to %s", r.GetVehicle(), r.GetAnswersTo())
	}
	if err := k.Watch(ctx, &pb.WatchReadinessRequest{CallSigns: []string{"Q9"}}, nil); refusedWith(err) != "CALL_SIGN_UNKNOWN" {
		t.Errorf("an unknown call sign: %v", err)
	}
}
