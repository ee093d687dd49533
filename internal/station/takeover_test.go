package station_test

import (
	"crypto/sha256"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A hand-over is of an ended round, from one driver to another, and stays said.
func TestConfirmHandOver(t *testing.T) {
	k := stationtest.Open(t)
	round := k.OpenRound(p1, shift)
	text := sha256.Sum256([]byte("Nothing to report."))
	at := func(d time.Duration) *timestamppb.Timestamp { return timestamppb.New(k.Clock.Now().Add(d)) }
	request := func(change func(*pb.ConfirmHandOverRequest)) *pb.ConfirmHandOverRequest {
		req := &pb.ConfirmHandOverRequest{
			RequestId: k.ID(), Round: round, OffGoing: "people/driver", OnComing: "people/other", TextSha256: text[:],
			OffGoingConfirmed: at(-time.Minute), OnComingConfirmed: at(0), Device: "tablet-1",
		}
		change(req)
		return req
	}
	as := func(*pb.ConfirmHandOverRequest) {}
	_, err := k.ConfirmHandOver(ctx, request(as))
	refusal{fault.Precondition, "ROUND_NOT_ENDED"}.check(t, err)
	if _, err := k.GiveUpRound(ctx, &pb.GiveUpRoundRequest{RequestId: k.ID(), Round: round, Note: "called away"}); err != nil {
		t.Fatal(err)
	}
	for reason, tc := range map[string]struct {
		kind   fault.Kind
		change func(*pb.ConfirmHandOverRequest)
	}{
		"SAME_PERSON":    {fault.Precondition, func(r *pb.ConfirmHandOverRequest) { r.OnComing = r.OffGoing }},
		"NOT_A_DRIVER":   {fault.Precondition, func(r *pb.ConfirmHandOverRequest) { r.OnComing = "people/mechanic" }},
		"PERSON_UNKNOWN": {fault.NotFound, func(r *pb.ConfirmHandOverRequest) { r.OnComing = "people/nobody" }},
		"ROUND_UNKNOWN":  {fault.NotFound, func(r *pb.ConfirmHandOverRequest) { r.Round = "rounds/" + k.ID() }},
	} {
		_, err := k.ConfirmHandOver(ctx, request(tc.change))
		refusal{tc.kind, reason}.check(t, err)
	}
	if h := k.Readiness(p1).GetHandOver(); h != nil {
		t.Errorf("nothing was confirmed, and it says %v", h)
	}
	req := request(as)
	resp, err := k.ConfirmHandOver(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := k.ConfirmHandOver(ctx, req); err != nil || !proto.Equal(again, resp) {
		t.Errorf("again: %v (%v)", again, err)
	}
	k.Reopen()
	if h := k.Readiness(p1).GetHandOver(); !proto.Equal(h, resp.GetHandOver()) || h.GetOnComing() != "people/other" || h.GetRound() != round {
		t.Errorf("opened again it says %v, want %v", h, resp.GetHandOver())
	}
	_, err = k.ConfirmHandOver(ctx, request(func(r *pb.ConfirmHandOverRequest) {
		r.OffGoingConfirmed, r.OnComingConfirmed = at(-time.Hour), at(-time.Hour)
	}))
	refusal{fault.Precondition, "HANDED_OVER_SINCE"}.check(t, err)
}
