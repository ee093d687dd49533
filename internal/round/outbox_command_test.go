package round_test

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/round"
	"bayround/internal/signature"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// carry carries out any command of a driver's on a station.
func carry(st *station.Station, request proto.Message) (err error) {
	ctx := context.Background()
	switch r := request.(type) {
	case *pb.OpenRoundRequest:
		_, err = st.OpenRound(ctx, r)
	case *pb.PauseRoundRequest:
		_, err = st.PauseRound(ctx, r)
	case *pb.ResumeRoundRequest:
		_, err = st.ResumeRound(ctx, r)
	case *pb.ChangeAssistantRequest:
		_, err = st.ChangeAssistant(ctx, r)
	case *pb.FinishRoundRequest:
		_, err = st.FinishRound(ctx, r)
	case *pb.SignRoundRequest:
		_, err = st.SignRound(ctx, r)
	case *pb.ReportLockOutRequest:
		_, err = st.ReportLockOut(ctx, r)
	case *pb.ReportUnlockRequest:
		_, err = st.ReportUnlock(ctx, r)
	case *pb.ConfirmHandOverRequest:
		_, err = st.ConfirmHandOver(ctx, r)
	case *pb.GiveUpRoundRequest:
		_, err = st.GiveUpRound(ctx, r)
	case *pb.BeginStepRequest:
		_, err = st.BeginStep(ctx, r)
	case *pb.MakeSafeRequest:
		_, err = st.MakeSafe(ctx, r)
	case *pb.RecordResultRequest:
		_, err = st.RecordResult(ctx, r)
	case *pb.StopVehicleRequest:
		_, err = st.StopVehicle(ctx, r)
	case *pb.ReleaseVehicleRequest:
		_, err = st.ReleaseVehicle(ctx, r)
	}
	return err
}

// everyCommand is a driver's morning in which every command occurs with every
// field that it has. Commands turn what was done some seconds ago into the record.
func everyCommand(device string) []proto.Message {
	first, second := "rounds/"+uuid.NewString(), "rounds/"+uuid.NewString()
	began := time.Now().Add(-time.Minute)
	tick := 0
	now := func() *timestamppb.Timestamp {
		tick++
		return timestamppb.New(began.Add(time.Duration(tick) * time.Second))
	}
	ambient := 11.5
	stood := &pb.RoundConditions{EngineStopped: timestamppb.New(began.Add(-9 * time.Hour)), AmbientCelsius: &ambient}
	result := func(r *pb.Result) *pb.Result {
		r.ResultId, r.Person, r.Device, r.DeviceTime = uuid.NewString(), "people/driver", device, now()
		return r
	}
	low := result(stationtest.Stands("OIL-010/engine-flap", pb.LevelMark_LEVEL_MARK_BELOW, 0))
	low.Note, low.LookedS, low.LeftOpen = "dry on the stick", 12.5, true
	low.Photos = []string{"00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"}
	cured := result(stationtest.Stands("OIL-010/engine-flap", pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8))
	cured.Cure = &pb.Cure{FoundResultId: low.GetResultId(), Done: "topped up", Amount: 1.5, Unit: "L"}
	pressure := result(stationtest.Read("TYR-010/axle-1-nearside", "pressure", 5.2, "bar"))
	pressure.Gauge, pressure.Confirmed, pressure.AloneMethod, pressure.SpotProof = "gauges/g-1", true, true, "5.2"
	again := result(stationtest.Read("TYR-010/axle-1-nearside", "pressure", 8.2, "bar"))
	again.Correction = true
	again.DeviceAheadS = proto.Float64(-1.5)
	cracked := stationtest.Seen(windscreen, "01")
	cracked.GetSeen().GetConditions()[0].Count = &pb.Count{Affected: 1, Of: 1}
	return []proto.Message{
		&pb.OpenRoundRequest{Round: first, Vehicle: firstPump, Routine: shiftCheck, Driver: "people/driver", Assistant: "people/other", Device: device, Conditions: stood, DeviceTime: now()},
		&pb.BeginStepRequest{RequestId: uuid.NewString(), Round: first, StepId: pumpStep, DeviceTime: now(), ControlTold: true},
		&pb.RecordResultRequest{Round: first, Result: low},
		&pb.ChangeAssistantRequest{RequestId: uuid.NewString(), Round: first, Assistant: "", DeviceTime: now()},
		&pb.RecordResultRequest{Round: first, Result: cured},
		&pb.RecordResultRequest{Round: first, Result: pressure},
		&pb.RecordResultRequest{Round: first, Result: again},
		&pb.PauseRoundRequest{RequestId: uuid.NewString(), Round: first, Note: "turnout", Turnout: true, DeviceTime: now()},
		&pb.MakeSafeRequest{RequestId: uuid.NewString(), Round: first, StepIds: []string{pumpStep}, DeviceTime: now()},
		&pb.ResumeRoundRequest{RequestId: uuid.NewString(), Round: first, Conditions: stood, DeviceTime: now()},
		&pb.RecordResultRequest{Round: first, Result: result(stationtest.NotChecked(pumpStep, pb.NotCheckedReason_NOT_CHECKED_REASON_NO_TIME))},
		&pb.RecordResultRequest{Round: first, Result: result(cracked)},
		&pb.FinishRoundRequest{RequestId: uuid.NewString(), Round: first, Note: "windscreen to the workshop", ShownVerdict: pb.Verdict_VERDICT_UNPROVEN, DeviceTime: now()},
		&pb.ConfirmHandOverRequest{
			RequestId: uuid.NewString(), Round: first, OffGoing: "people/driver", OnComing: "people/other", TextSha256: make([]byte, 32),
			OffGoingConfirmed: now(), OnComingConfirmed: now(), Device: device,
		},
		&pb.OpenRoundRequest{Round: second, Vehicle: secondPump, Routine: "routines/weekly", Driver: "people/other", Device: device, DeviceTime: now()},
		&pb.RecordResultRequest{Round: second, Result: result(stationtest.Tread("TYR-020/axle-1-nearside", 10, 9.5, 10))},
		&pb.GiveUpRoundRequest{RequestId: uuid.NewString(), Round: second, Note: "called away", DeviceTime: now()},
		&pb.ReportLockOutRequest{RequestId: uuid.NewString(), Locked: "people/other", Failures: 10, Device: device, DeviceTime: now()},
		&pb.ReportUnlockRequest{RequestId: uuid.NewString(), Unlocked: "people/other", Device: device, DeviceTime: now()},
		&pb.StopVehicleRequest{
			RequestId: uuid.NewString(), Vehicle: secondPump, Person: "people/other", Reason: "it pulls to the left",
			StepIds: []string{"TYR-020/axle-1-nearside"}, Device: device, DeviceTime: now(),
		},
	}
}

func TestCommandOf_IsTheCommandTheEventCameFrom(t *testing.T) {
	k := openSmall(t, stationtest.Small())
	commands := everyCommand("tablet-1")
	kinds := map[string]bool{}
	for _, c := range commands {
		if err := carry(k.Station, c); err != nil {
			t.Fatalf("%v: %v", c, err)
		}
		kinds[string(c.ProtoReflect().Descriptor().Name())] = true
	}
	if len(kinds) != 13 {
		t.Fatalf("only %d kinds of command occur", len(kinds))
	}
	if diff := cmp.Diff(commands, driven(t, k.Station), protocmp.Transform()); diff != "" {
		t.Errorf("turned back into commands (-given +read):\n%s", diff)
	}
}

// What is signed goes to the station as it was signed: the driver's signature with the
// end of the round, an officer's after it.
func TestCommandOf_SignaturesAreThoseThatWereGiven(t *testing.T) {
	files := stationtest.Small()
	files[0].Content = bytes.Replace(files[0].Content, []byte("title: Other Driver, roles: [ROLE_DRIVER]"), []byte("title: Other, roles: [ROLE_OFFICER]"), 1)
	k := openSmall(t, files)
	name := k.RecordAll(firstPump, shiftCheck)
	signed := func(person string, as pb.Role) (*pb.Signature, *pb.ShownToSigner) {
		resp, err := k.GetRoundContent(t.Context(), &pb.GetRoundContentRequest{Name: name})
		if err != nil {
			t.Fatal(err)
		}
		by := &pb.Signature{Person: person, SignedAs: as, Device: "tablet-1", DeviceTime: timestamppb.Now(), Proof: pb.Proof_PROOF_PIN, TabletAlone: true}
		shown := signature.Shown(k.Readiness(firstPump), "", "")
		by.StatementSha256 = signature.Of(resp.GetContent(), shown, by)
		return by, shown
	}
	finish := &pb.FinishRoundRequest{RequestId: uuid.NewString(), Round: name, DeviceTime: timestamppb.Now()}
	finish.Signature, finish.Shown = signed("people/driver", pb.Role_ROLE_DRIVER)
	finish.ShownVerdict = finish.GetShown().GetVerdict()
	second := &pb.SignRoundRequest{RequestId: uuid.NewString(), Round: name}
	second.Signature, second.Shown = signed("people/other", pb.Role_ROLE_OFFICER)
	want := []proto.Message{finish, second}
	for _, c := range want {
		if err := carry(k.Station, proto.Clone(c)); err != nil {
			t.Fatal(err)
		}
	}
	got := driven(t, k.Station)
	if diff := cmp.Diff(want, got[len(got)-2:], protocmp.Transform()); diff != "" {
		t.Errorf("turned back into commands (-given +read):\n%s", diff)
	}
}

func TestCommandOf_IDsAreThoseOfTheCommands(t *testing.T) {
	k := openSmall(t, stationtest.Small())
	var want, got []string
	for _, c := range everyCommand("tablet-1") {
		if err := carry(k.Station, c); err != nil {
			t.Fatal(err)
		}
		want = append(want, idOf(c))
	}
	err := k.Events(t.Context(), 1, func(ev *pb.JournalEvent) error {
		if id, request := round.CommandOf(ev); request != nil {
			got = append(got, id)
		}
		return nil
	})
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("%v (-given +read):\n%s", err, diff)
	}
}

// idOf is the command id that a request carries.
func idOf(request proto.Message) string {
	switch r := request.(type) {
	case *pb.OpenRoundRequest:
		return r.GetRound()
	case *pb.RecordResultRequest:
		return r.GetResult().GetResultId()
	case interface{ GetRequestId() string }:
		return r.GetRequestId()
	}
	return ""
}
