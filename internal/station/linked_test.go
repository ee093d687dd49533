package station_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/roundproof"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Each event of a round names the one before it, over pauses, rounds in between, the end
// of the round and a start of the station; nothing else names one.
func TestEvents_OfARoundNameTheOneBefore(t *testing.T) {
	k := stationtest.Open(t)
	first, other := k.OpenRound(p1, shift), k.OpenRound(p2, shift)
	looked := k.Clock.Now()
	k.Record(first, stationtest.Seen(screen, "sound"))
	k.Record(other, stationtest.Seen(screen, "sound"))
	_, err := k.PauseRound(ctx, &pb.PauseRoundRequest{RequestId: k.ID(), Round: first, Note: "call"})
	if err == nil {
		k.Reopen()
		_, err = k.ResumeRound(ctx, &pb.ResumeRoundRequest{RequestId: k.ID(), Round: first})
	}
	if err != nil {
		t.Fatal(err)
	}
	k.Record(first, stationtest.Seen(screen, "sound"))
	k.Clock.Advance(time.Minute)
	finish(t, k, first)
	for range 70 { // more than a station keeps in memory
		finish(t, k, k.OpenRound(p2, shift))
	}
	late := stationtest.Seen(screen, "01")
	late.DeviceTime = timestamppb.New(looked)
	k.Record(first, late)
	k.ApplyAltered("gross_mass_kg: 18000", "gross_mass_kg: 17900")

	newest, links := map[string]int64{"": 0}, 0
	err = k.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		round := roundproof.RoundOf(ev)
		if ev.GetPreviousInRound() != newest[round] {
			t.Errorf("event %d of %q names event %d as the one before, want %d", ev.GetSequence(), round, ev.GetPreviousInRound(), newest[round])
		}
		if round != "" {
			newest[round] = ev.GetSequence()
		}
		if round == first {
			links++
		}
		return nil
	})
	if err != nil || links != 7 {
		t.Errorf("%d events of the round, want 7; %v", links, err)
	}
}
