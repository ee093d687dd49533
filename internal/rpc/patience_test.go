package rpc_test

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// hears is a log that tells when a word was said in it.
type hears struct {
	slog.Handler
	word string
	said func()
}

// Enabled hears everything.
func (hears) Enabled(context.Context, slog.Level) bool { return true }

func (h hears) Handle(ctx context.Context, r slog.Record) error {
	all := r.Message
	r.Attrs(func(a slog.Attr) bool {
		all += " " + a.Value.String()
		return true
	})
	if strings.Contains(all, h.word) {
		h.said()
	}
	return h.Handler.Handle(ctx, r)
}

// A reader that hangs is let go: its stream ends, and when it reads on at last it
// finds what had been sent and then with which token to go on. Nothing is lost.
func TestFollow_AReaderThatHangsIsToldToComeBack(t *testing.T) {
	over := make(chan struct{})
	log := hears{slog.DiscardHandler, "nothing was taken from this stream", sync.OnceFunc(func() { close(over) })}
	kit, conn := served(t, rpc.Options{Patience: 100 * time.Millisecond, Logger: slog.New(log)})
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	for range 500 { // more than any window holds
		seen := stationtest.Seen("GLA-010/windscreen", "01")
		seen.Note = strings.Repeat("much to say ", 80)
		kit.Record(round, seen)
	}
	stream, err := pb.NewJournalServiceClient(conn).Follow(t.Context(), &pb.FollowRequest{})
	if err != nil {
		t.Fatal(err)
	}
	<-over // nobody has read anything
	var sequence int64
	var token string
	take := func(m *pb.FollowResponse) error {
		for _, ev := range m.GetEvents().GetEvents() {
			if sequence++; ev.GetSequence() != sequence {
				t.Fatalf("event %d, want %d", ev.GetSequence(), sequence)
			}
		}
		token = m.GetToken()
		return nil
	}
	for {
		m, err := stream.Recv()
		if err == nil {
			err = take(m)
		}
		if err == nil {
			continue
		}
		if !fault.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "follow again with the token "+token) {
			t.Fatalf("after event %d (token %s) the stream ended with %v", sequence, token, err)
		}
		break
	}
	newest := kit.Readiness("vehicles/p1").GetSequence()
	if sequence == 0 || sequence == newest {
		t.Errorf("%d of %d events before the end: the reader did not hang", sequence, newest)
	}
	if err := kit.Follow(t.Context(), &pb.FollowRequest{Token: token, StopAtEnd: true}, take); err != nil || sequence != newest {
		t.Errorf("gone on from the token to event %d of %d: %v", sequence, newest, err)
	}
}

// A reader that hangs keeps a stop from coming to its end no longer than others:
// what still sends to it ends with the connection, and the stop waits for that.
func TestFollow_AReaderThatHangsHoldsUpNoStop(t *testing.T) {
	kit := stationtest.Open(t)
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	for range 500 {
		seen := stationtest.Seen("GLA-010/windscreen", "01")
		seen.Note = strings.Repeat("much to say ", 80)
		kit.Record(round, seen)
	}
	served := stationtest.Serve(t, kit.Station, rpc.Options{StopAfter: 100 * time.Millisecond, Patience: time.Hour})
	stream, err := pb.NewJournalServiceClient(served.Dial(t)).Follow(t.Context(), &pb.FollowRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil { // it is open
		t.Fatal(err)
	}
	served.Server.Stop(t.Context())
}
