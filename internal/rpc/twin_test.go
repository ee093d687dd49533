package rpc_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A tablet asks for everything over the wire and then judges by itself.
func TestTwinService_CarriesWhatATabletNeeds(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	round := kit.RecordAll("vehicles/p1", "routines/shift")
	kit.Record(round, stationtest.Seen("GLA-010/windscreen", "03"))
	station, twin := pb.NewTwinServiceClient(conn), kit.Twin()
	lib, err := station.GetLibrary(t.Context(), &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if changed, err := twin.Station.AdoptLibrary(t.Context(), twin.ID(), lib.GetLibrary()); err != nil || !changed {
		t.Fatalf("taking over what is in force: %v, %v", changed, err)
	}
	known, err := station.GetLibrary(t.Context(), &pb.GetLibraryRequest{KnownDigest: twin.Digest()})
	if err != nil {
		t.Fatal(err)
	}
	if known.GetLibrary() != nil {
		t.Error("the twin has it all, and it is sent again")
	}
	standing, err := station.GetStanding(t.Context(), &pb.GetStandingRequest{Vehicle: "vehicles/p1"})
	if err != nil {
		t.Fatal(err)
	}
	if standing.GetLibraryDigest() != twin.Digest() {
		t.Errorf("judged by %s, the twin has %s", standing.GetLibraryDigest(), twin.Digest())
	}
	if changed, err := twin.Station.AdoptStanding(t.Context(), twin.ID(), standing.GetStanding()); err != nil || !changed {
		t.Fatalf("taking over the vehicle: %v, %v", changed, err)
	}
	here, there := proto.CloneOf(twin.Readiness("vehicles/p1")), kit.Readiness("vehicles/p1")
	here.Sequence, here.AsOf, here.Rounds[0].Sequence = there.GetSequence(), there.GetAsOf(), there.GetRounds()[0].GetSequence()
	if !proto.Equal(here, there) {
		t.Errorf("the twin says\n%v\nthe station\n%v", here, there)
	}
	if changed, err := twin.Station.AdoptStanding(t.Context(), twin.ID(), standing.GetStanding()); err != nil || changed {
		t.Errorf("taking it over again: %v, %v", changed, err)
	}
}

func TestTwinService_RefusesInWords(t *testing.T) {
	_, conn := served(t, rpc.Options{})
	station := pb.NewTwinServiceClient(conn)
	if _, err := station.GetStanding(t.Context(), &pb.GetStandingRequest{Vehicle: "vehicles/nowhere"}); !fault.Is(err, fault.NotFound) {
		t.Errorf("an unknown vehicle = %v", err)
	}
	if _, err := station.GetLibrary(t.Context(), &pb.GetLibraryRequest{KnownDigest: "short"}); !fault.Is(err, fault.Invalid) {
		t.Errorf("a digest that is none = %v", err)
	}
}
