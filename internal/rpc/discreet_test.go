package rpc

import (
	"context"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	log "bayround/internal/journal"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

const oldHash = "$argon2id$v=19$m=19456,t=2,p=1$ZB5v/cwAXBb3rPaNnsOZNg$2oxB05GKQZxhqobku1ZwCG8IKSdzF9gdXMXCYWPAMac"

// A record as it was written before names and PINs stood apart: its reader is shown the
// events and not the hash, unless it is a tablet.
func TestFollow_ShowsHashesOfPINsToTabletsAlone(t *testing.T) {
	g := serveOld(t)
	for role, shown := range map[pb.ClientRole]bool{
		pb.ClientRole_CLIENT_ROLE_TABLET: true, pb.ClientRole_CLIENT_ROLE_SYSTEM: false, pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR: false,
	} {
		journals := pb.NewJournalServiceClient(g.as(role))
		stream, err := journals.Follow(t.Context(), &pb.FollowRequest{IncludeRecords: true, StopAtEnd: true})
		if err != nil {
			t.Fatal(err)
		}
		first, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		person := first.GetEvents().GetEvents()[0].GetPersonApplied()
		if person.GetName() != "people/old" || len(first.GetEvents().GetRecords()) != 1 {
			t.Errorf("%v is shown %v", role, first)
		}
		whole, err := proto.Marshal(first)
		if err != nil || strings.Contains(string(whole), oldHash) != shown || (len(first.GetEvents().GetRecords()[0]) > 0) != shown {
			t.Errorf("%v is shown %v: %v", role, first, err)
		}
		proof, err := journals.ProveInclusion(t.Context(), &pb.ProveInclusionRequest{Sequence: 1})
		if err != nil || strings.Contains(string(proof.GetRecord()), oldHash) != shown || len(proof.GetLeafHash()) != 32 {
			t.Errorf("%v is proved %v, %v", role, proof, err)
		}
	}
}

// serveOld serves a station on a record whose first event holds the hash of a PIN.
func serveOld(t *testing.T) *gated {
	t.Helper()
	dir := t.TempDir()
	j, err := log.Open(t.Context(), log.Options{Dir: dir, Origin: "bayround/station", RowsVersion: "5"})
	if err != nil {
		t.Fatal(err)
	}
	event, err := proto.Marshal(&pb.JournalEvent{
		Sequence: 1, CommandId: "old", Schema: 1, StationTime: timestamppb.New(time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)),
		Event: &pb.JournalEvent_PersonApplied{PersonApplied: &pb.Person{
			Name: "people/old", Title: "Old Timer", Roles: []pb.Role{pb.Role_ROLE_DRIVER}, PinArgon2Id: oldHash,
		}},
	})
	if err != nil {
		t.Fatal(err)
	}
	_, err = j.Append(t.Context(), log.Command{ID: "old"}, func(uint64) (log.Entry, error) { return log.Entry{Events: [][]byte{event}}, nil })
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	st, err := station.Open(context.Background(), station.Options{Dir: dir, Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	return serveGatedOn(t, st)
}
