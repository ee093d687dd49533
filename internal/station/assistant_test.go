package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Who assists may change in the middle of a round; it is in the record, and it
// is still known after a restart.
func TestChangeAssistant(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	change := func(assistant string) error {
		_, err := k.ChangeAssistant(ctx, &pb.ChangeAssistantRequest{RequestId: k.ID(), Round: round, Assistant: assistant})
		return err
	}
	for _, assistant := range []string{"people/other", "people/other", ""} {
		if err := change(assistant); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			resp, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
			if err != nil {
				t.Fatal(err)
			}
			if got := resp.GetRound().GetAssistant(); got != assistant {
				t.Errorf("assistant %q, want %q", got, assistant)
			}
			k.Reopen()
		}
	}
	if err := change("people/driver"); !fault.Is(err, fault.Invalid) {
		t.Errorf("the driver as the assistant: %v, want it refused as invalid", err)
	}
	if err := change("people/nobody"); !fault.Is(err, fault.NotFound) {
		t.Errorf("an unknown assistant: %v, want not found", err)
	}
	finish(t, k, round)
	if err := change("people/other"); !fault.Is(err, fault.Precondition) {
		t.Errorf("an assistant for a round that has ended: %v, want it refused", err)
	}
}

// A device that knows how far its clock is off says so, and when somebody looked
// is put right by it: neither does a slow clock make an answer old, nor a fast one
// hide that it came late.
func TestRecordResult_PutsRightTheDevicesClock(t *testing.T) {
	for name, ahead := range map[string]time.Duration{"slow": -3 * time.Hour, "fast": 3 * time.Hour} {
		t.Run(name, func(t *testing.T) {
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			const late = 10 * time.Minute
			looked := k.Clock.Now()
			k.Clock.Advance(late)
			r, seconds := stationtest.Seen(screen, "sound"), ahead.Seconds()
			r.DeviceTime, r.DeviceAheadS = timestamppb.New(looked.Add(ahead)), &seconds
			k.Record(round, r)
			if got := newest(t, k, screen).GetLookedAt().AsTime().Truncate(time.Millisecond); !got.Equal(looked) { // the station counts events apart by nanoseconds
				t.Errorf("looked at %v, want %v", got, looked)
			}
		})
	}
}

// newest is the newest result at a step of the first vehicle's shift routine.
func newest(t testing.TB, k *stationtest.Kit, stepID string) *pb.Result {
	t.Helper()
	resp, err := k.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: p1, Routine: shift})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range resp.GetPlan().GetSteps() {
		if s.GetStepId() == stepID {
			return s.GetLast()
		}
	}
	t.Fatalf("%s is not in the plan", stepID)
	return nil
}
