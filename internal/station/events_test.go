package station_test

import (
	"context"
	"errors"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

func TestEvents_GiveTheJournalFromASequenceOn(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	k.Record(round, stationtest.Seen(screen, "01"))
	var all []*pb.JournalEvent
	follow(t, k, "", func(ev *pb.JournalEvent) { all = append(all, ev) })
	for _, from := range []int64{-1, 0, 1, 2, int64(len(all)), int64(len(all)) + 1, int64(len(all)) + 100} {
		next := max(from, 1)
		err := k.Events(t.Context(), from, func(ev *pb.JournalEvent) error {
			if !proto.Equal(ev, all[next-1]) {
				t.Errorf("from %d: event %v, want %v", from, ev, all[next-1])
			}
			next++
			return nil
		})
		if want := max(from, int64(len(all))+1); err != nil || next != want {
			t.Errorf("from %d: ended before event %d with %v, want %d", from, next, err, want)
		}
	}
	enough := errors.New("enough")
	if err := k.Events(t.Context(), 1, func(*pb.JournalEvent) error { return enough }); !errors.Is(err, enough) {
		t.Errorf("an error of yield came back as %v", err)
	}
}

func TestGrown_ReturnsWhenThereIsMore(t *testing.T) {
	k := stationtest.Open(t)
	var end int64
	follow(t, k, "", func(ev *pb.JournalEvent) { end = ev.GetSequence() })
	if err := k.Grown(t.Context(), end-1); err != nil {
		t.Errorf("there is more already: %v", err)
	}
	grown := make(chan error, 1)
	go func() { grown <- k.Grown(t.Context(), end) }()
	k.OpenRound(p1, shift)
	if err := <-grown; err != nil {
		t.Errorf("after another event: %v", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := k.Grown(ended, end+1); !errors.Is(err, context.Canceled) {
		t.Errorf("a caller that has gone hears %v", err)
	}
	go func() { grown <- k.Grown(t.Context(), end+1) }()
	if err := k.Station.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-grown; !fault.Is(err, fault.Unavailable) {
		t.Errorf("a closed station answers %v", err)
	}
}
