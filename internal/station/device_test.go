package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// timed is a command of a round, at a time of the device's clock.
type timed func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error

var timedCommands = map[string]timed{
	"pause": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		_, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: round, DeviceTime: at, Turnout: true})
		return err
	},
	"resume": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		_, err := k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: round, DeviceTime: at})
		return err
	},
	"finish": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		_, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round, DeviceTime: at, ShownVerdict: pb.Verdict_VERDICT_UNPROVEN})
		return err
	},
	"give up": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		_, err := k.GiveUpRound(ctx, &pb.GiveUpRoundRequest{RequestId: k.ID(), Round: round, DeviceTime: at, Note: "no time"})
		return err
	},
	"begin": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		_, err := k.BeginStep(ctx, &pb.BeginStepRequest{RequestId: k.ID(), Round: round, StepId: oil, DeviceTime: at})
		return err
	},
	"make safe": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		_, err := k.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: k.ID(), Round: round, StepIds: []string{oil}, DeviceTime: at})
		return err
	},
	"record": func(k *stationtest.Kit, round string, at *timestamppb.Timestamp) error {
		r := stationtest.Seen(screen, "sound")
		r.DeviceTime = at
		_, err := k.TryRecord(round, r)
		return err
	},
}

// When a device did something stays in the record, by its own clock, beside the
// time at which the station heard of it; and so does what it said with it.
func TestDeviceTime_IsKept(t *testing.T) {
	k := stationtest.Open(t)
	at := func(minute int) *timestamppb.Timestamp {
		return timestamppb.New(stationtest.Morning.Add(-2*time.Hour + time.Duration(minute)*time.Minute))
	}
	round := "rounds/" + k.ID()
	resp, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: round, Vehicle: p1, Routine: shift, Driver: "people/driver", Device: "tablet-1", DeviceTime: at(0),
	})
	if err != nil || !resp.GetRound().GetOpenedDeviceTime().AsTime().Equal(at(0).AsTime()) {
		t.Errorf("opened %v, %v; want opened by the device at %v", resp.GetRound(), err, at(0).AsTime())
	}
	order := []string{"begin", "make safe", "record", "pause", "resume", "finish"}
	for i, name := range order {
		if err := timedCommands[name](k, round, at(i+1)); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	k.Reopen()
	var inRound []*pb.JournalEvent
	follow(t, k, "", func(ev *pb.JournalEvent) {
		if ev.GetVehicle() == p1 && ev.GetVehicleApplied() == nil {
			inRound = append(inRound, ev)
		}
	})
	if len(inRound) != len(order)+1 {
		t.Fatalf("%d events of the round, want %d", len(inRound), len(order)+1)
	}
	for i, ev := range inRound {
		if !ev.GetDeviceTime().AsTime().Equal(at(i).AsTime()) || ev.GetStationTime().AsTime().Before(stationtest.Morning) {
			t.Errorf("event %v: by the device at %v, by the station at %v; want %v and not before %v",
				ev.GetEvent(), ev.GetDeviceTime().AsTime(), ev.GetStationTime().AsTime(), at(i).AsTime(), stationtest.Morning)
		}
	}
	if pause := inRound[4].GetRoundStateChanged(); !pause.GetTurnout() {
		t.Errorf("the pause %v is not said to be for a turnout", pause)
	}
	if end := inRound[6].GetRoundStateChanged(); end.GetShownVerdict() != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("the end %v does not say what verdict the driver was shown", end)
	}
	got, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round})
	if err != nil || !got.GetRound().GetOpenedDeviceTime().AsTime().Equal(at(0).AsTime()) {
		t.Errorf("after a restart the round reads %v, %v", got.GetRound(), err)
	}
}

// A device that does not say when leaves no time behind.
func TestDeviceTime_NotSaid(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	for _, name := range []string{"begin", "make safe", "pause", "resume", "finish"} {
		if err := timedCommands[name](k, round, nil); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	follow(t, k, "", func(ev *pb.JournalEvent) {
		if ev.GetDeviceTime() != nil {
			t.Errorf("event %v: by the device at %v", ev, ev.GetDeviceTime().AsTime())
		}
	})
}

func TestDeviceTime_NoInstantIsRefused(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	never := &timestamppb.Timestamp{Seconds: -1 << 60}
	for name, command := range timedCommands {
		t.Run(name, func(t *testing.T) {
			refusal{fault.Invalid, "DEVICE_TIME_WRONG"}.check(t, command(k, round, never))
		})
	}
	_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: "rounds/" + k.ID(), Vehicle: p1, Routine: shift, Driver: "people/driver", Device: "tablet-1", DeviceTime: never,
	})
	refusal{fault.Invalid, "DEVICE_TIME_WRONG"}.check(t, err)
}

// What a device did before it interrupted a round is taken after the
// interruption was delivered, whatever its clock shows; what it did after is not.
func TestDeviceTime_BeforeALateInterruption(t *testing.T) {
	paused, ended := refusal{fault.Precondition, "ROUND_PAUSED"}, refusal{fault.Precondition, "ROUND_ENDED"}
	for name, tc := range map[string]struct {
		interrupt string
		at        time.Duration // by the device's clock, after the station's at delivery
		act       string
		done      time.Duration // by the device's clock, after the interruption
		want      refusal
	}{
		"a result from before a late pause":            {"pause", -time.Hour, "record", -time.Second, refusal{}},
		"a result from before a late end":              {"finish", -time.Hour, "record", -time.Second, refusal{}},
		"a result from after a late pause, heard late": {"pause", -time.Hour, "record", time.Minute, refusal{}},
		"a result from after the station heard of it":  {"pause", -time.Hour, "record", 2 * time.Hour, paused},
		"by a clock that runs ahead, before the pause": {"pause", time.Hour, "record", -time.Second, refusal{}},
		"by a clock that runs ahead, after the pause":  {"pause", time.Hour, "record", 0, paused},
		"by a clock that runs ahead, before the end":   {"finish", time.Hour, "record", -time.Second, refusal{}},
		"by a clock that runs ahead, after the end":    {"give up", time.Hour, "record", time.Second, ended},
		"by a clock of another age, before the pause":  {"pause", 290 * 365 * 24 * time.Hour, "record", -time.Second, refusal{}},
		"a step begun before a late pause":             {"pause", -time.Hour, "begin", -time.Second, refusal{}},
		"a step begun before, by a clock ahead":        {"pause", time.Hour, "begin", -time.Second, refusal{}},
		"a step begun after the pause":                 {"pause", time.Hour, "begin", time.Second, paused},
		"a step begun before a late end":               {"finish", -time.Hour, "begin", -time.Second, ended},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			k := stationtest.Open(t)
			round := k.OpenRound(p1, shift)
			at := k.Clock.Now().Add(tc.at)
			if err := timedCommands[tc.interrupt](k, round, timestamppb.New(at)); err != nil {
				t.Fatal(err)
			}
			k.Reopen()
			tc.want.check(t, timedCommands[tc.act](k, round, timestamppb.New(at.Add(tc.done))))
		})
	}
}
