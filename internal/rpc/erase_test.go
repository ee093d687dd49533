package rpc_test

import (
	"testing"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A person is erased over a real socket: whoever lists, follows or takes over what is
// in force is shown the id alone, and the record is sealed in what Follow tells.
func TestErasePerson_OverTheWire(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	vehicles, journal := pb.NewVehicleServiceClient(conn), pb.NewJournalServiceClient(conn)
	kit.RecordAll("vehicles/p1", "routines/shift")
	req := &pb.ErasePersonRequest{RequestId: "00000000-0000-4000-8000-0000000000aa", Person: "people/driver", By: "people/mechanic", Reason: "left the service"}
	if _, err := vehicles.ErasePerson(t.Context(), req); !fault.Is(err, fault.Precondition) {
		t.Errorf("in the middle of a round: %v, want FAILED_PRECONDITION", err)
	}
	req.Person = "people/other"
	resp, err := vehicles.ErasePerson(t.Context(), req)
	if err != nil || resp.GetPerson().GetTitle() != "erased person" || !resp.GetPerson().GetErased() {
		t.Fatalf("erased: %v, %v", resp, err)
	}
	list, err := vehicles.ListPeople(t.Context(), &pb.ListPeopleRequest{})
	if err != nil || len(list.GetPeople()) != 3 || list.GetPeople()[2].GetTitle() != "erased person" || list.GetPeople()[0].GetTitle() != "Driver" {
		t.Errorf("listed: %v, %v", list, err)
	}
	stream, err := journal.Follow(t.Context(), &pb.FollowRequest{StopAtEnd: true})
	if err != nil {
		t.Fatal(err)
	}
	people, erased := 0, 0
	for {
		m, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if m.GetBookmark() != nil {
			break
		}
		for _, ev := range m.GetEvents().GetEvents() {
			if p := ev.GetPersonApplied(); p != nil {
				people++
				if p.GetTitle() != "" || len(p.GetApart()) != 32 {
					t.Errorf("event %d tells %v", ev.GetSequence(), p)
				}
			}
			if ev.GetPersonErased().GetPerson() == "people/other" && ev.GetPerson() == "people/mechanic" {
				erased++
			}
		}
	}
	if people != 3 || erased != 1 {
		t.Errorf("%d people put in force and %d erased, want 3 and 1", people, erased)
	}
	r := stationtest.Seen("GLA-010/windscreen", "sound")
	r.Person = "people/other"
	if _, err := kit.TryRecord(kit.OpenRound("vehicles/p2", "routines/shift"), r); err != nil {
		t.Errorf("a result that names the bare id: %v", err)
	}
}
