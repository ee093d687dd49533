package station_test

import (
	"context"
	"errors"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// wantRecordDoubt makes sure that a readiness rests on a doubt in the record.
func wantRecordDoubt(t *testing.T, r *pb.Readiness, kind pb.RecordDoubtKind) {
	t.Helper()
	if len(r.GetReasons()) == 0 || r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || r.GetReasons()[0].GetRecord().GetKind() != kind {
		t.Fatalf("%s is %v for %v, want UNPROVEN for the record (%v)", r.GetVehicle(), r.GetVerdict(), r.GetReasons(), kind)
	}
	if r.GetReasons()[0].GetRecord().GetSince() == nil {
		t.Error("nobody is told since when")
	}
}

// A station whose record has lost its end proves nothing of any vehicle, says
// why, takes nothing and reads on; also after another start.
func TestBehind_NothingIsProvedAndNothingTaken(t *testing.T) {
	ctx := context.Background()
	k := stationtest.Open(t)
	round := k.RecordAll("vehicles/p1", "routines/shift")
	before := k.Readiness("vehicles/p1")
	if before.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Fatalf("the vehicle is %v before anything happened", before.GetVerdict())
	}
	wiper := stationtest.Sound(k.Plan("vehicles/p1", "routines/shift").GetSteps()[0])
	k.Lose(func() { k.Record(round, wiper) })
	for range 2 {
		if !k.Behind() {
			t.Fatal("the station does not know that it lost something")
		}
		for _, vehicle := range []string{"vehicles/p1", "vehicles/p2"} {
			wantRecordDoubt(t, k.Readiness(vehicle), pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND)
		}
		now := k.Readiness("vehicles/p1") // it was fit until this was known
		if since := now.GetReasons()[0].GetRecord().GetSince(); !proto.Equal(now.GetSince(), since) {
			t.Errorf("unproven since %v, the record is in doubt since %v", now.GetSince().AsTime(), since.AsTime())
		}
		_, err := k.TryRecord(round, wiper)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Precondition || f.Reason != "RECORD_BEHIND" {
			t.Errorf("a result was answered with %v", err)
		}
		state, err := k.GetRecordState(ctx, &pb.GetRecordStateRequest{})
		if s := state.GetState(); err != nil || !s.GetBehind() || s.GetKnownCheckpoint() == "" || s.GetEvents() != before.GetSequence() || s.GetJournalId() == "" {
			t.Errorf("the state is %v, %v", s, err)
		}
		// What was known then is told as it was.
		then, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: "vehicles/p1", AsOf: timestamppb.New(before.GetAsOf().AsTime())})
		if err != nil || then.GetReadiness().GetVerdict() != pb.Verdict_VERDICT_FIT {
			t.Errorf("of the past it says %v, %v", then.GetReadiness().GetVerdict(), err)
		}
		list, err := k.ListReadiness(ctx, &pb.ListReadinessRequest{PageSize: 10})
		if err != nil || len(list.GetReadiness()) != 2 {
			t.Fatalf("%v, %v", list, err)
		}
		for _, r := range list.GetReadiness() {
			wantRecordDoubt(t, r, pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND)
		}
		l := watch(k)
		for _, r := range l.present(t) {
			wantRecordDoubt(t, r, pb.RecordDoubtKind_RECORD_DOUBT_KIND_BEHIND)
		}
		l.cancel()
		<-l.ended
		k.Reopen()
	}
}

func TestRecordState_OfASoundStation(t *testing.T) {
	k := stationtest.Open(t)
	resp, err := k.GetRecordState(context.Background(), &pb.GetRecordStateRequest{})
	s := resp.GetState()
	if err != nil || s.GetBehind() || s.GetKnownCheckpoint() != "" || s.GetEvents() == 0 || s.GetScrub() != nil || k.HeadsTorn() {
		t.Errorf("%v, %v", s, err)
	}
	if err := k.Answers(context.Background()); err != nil {
		t.Error(err)
	}
}
