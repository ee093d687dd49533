package station_test

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// hash is what a PIN looks like in the record (invented salt and key).
const hash = "$argon2id$v=19$m=65536,t=3,p=1$c29tZXNhbHRzb21l$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"

func applyPIN(t *testing.T, k *stationtest.Kit, pin string) *pb.ApplyResponse {
	t.Helper()
	text := "people:\n  - {name: people/driver, title: Driver, roles: [ROLE_DRIVER], pin_argon2id: \"" + pin + "\"}\n"
	resp, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: []*pb.NamedFile{{FileName: "people.yaml", Content: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	return resp
}

func TestGetLibrary_GivesEverythingOnce(t *testing.T) {
	k := stationtest.Open(t)
	first, err := k.GetLibrary(ctx, &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	lib := first.GetLibrary()
	if len(lib.GetVehicles()) != 2 || len(lib.GetPeople()) != 3 || len(lib.GetGauges()) != 3 || len(lib.GetStations()) != 1 ||
		len(lib.GetCatalogue().GetItems()) == 0 || len(lib.GetRoutines()) != 3 || len(lib.GetRulePacks()) != 1 {
		t.Errorf("the library holds %d bytes: not everything, or more", proto.Size(lib))
	}
	again, err := k.GetLibrary(ctx, &pb.GetLibraryRequest{KnownDigest: first.GetDigest()})
	if err != nil {
		t.Fatal(err)
	}
	if again.GetDigest() != first.GetDigest() || again.GetLibrary() != nil {
		t.Errorf("to a caller that knows %s: %v", first.GetDigest(), again)
	}
	k.ApplyAltered("call_sign: Q1", "call_sign: Q7")
	changed, err := k.GetLibrary(ctx, &pb.GetLibraryRequest{KnownDigest: first.GetDigest()})
	if err != nil {
		t.Fatal(err)
	}
	if changed.GetDigest() == first.GetDigest() || changed.GetLibrary().GetVehicles()[0].GetRevision() != 2 {
		t.Errorf("after a change: %s, %v", changed.GetDigest(), changed.GetLibrary().GetVehicles()[0])
	}
}

func TestPINs_AreToldToTwinsAlone(t *testing.T) {
	k := stationtest.Open(t)
	resp := applyPIN(t, k, hash)
	if got := strings.Join(resp.GetChanges()[0].GetDetails(), "\n"); got != "pin_argon2id: nothing → given" {
		t.Errorf("applying it says %q", got)
	}
	resp = applyPIN(t, k, strings.Replace(hash, "AAAA", "BBBB", 1))
	if got := strings.Join(resp.GetChanges()[0].GetDetails(), "\n"); got != "pin_argon2id: given → another one given" {
		t.Errorf("applying another says %q", got)
	}
	people, err := k.ListPeople(ctx, &pb.ListPeopleRequest{})
	if err != nil {
		t.Fatal(err)
	}
	want := &pb.Person{Name: "people/driver", Title: "Driver", Roles: []pb.Role{pb.Role_ROLE_DRIVER}}
	if d := diff(want, people.GetPeople()[0]); d != "" {
		t.Errorf("the list of people (want: -, got: +)\n%s", d)
	}
	twin := k.Twin()
	twin.AdoptLibrary(k)
	for _, p := range twin.Library().GetPeople() {
		if has := p.GetPinArgon2Id() != ""; has != (p.GetName() == "people/driver") {
			t.Errorf("the twin knows of %s the hash %q", p.GetName(), p.GetPinArgon2Id())
		}
	}
}

func TestAdoptLibrary_PutsTheSameInForce(t *testing.T) {
	k := stationtest.Open(t)
	k.ApplyAltered("call_sign: Q1", "call_sign: Q7") // revision 2
	twin := k.Twin()
	if !twin.AdoptLibrary(k) {
		t.Error("the first time changed nothing")
	}
	same := func(when string) {
		t.Helper()
		if d := diff(k.Library(), twin.Library()); d != "" {
			t.Errorf("%s (station: -, twin: +)\n%s", when, d)
		}
		if k.Digest() != twin.Digest() {
			t.Errorf("%s: digests %s and %s", when, k.Digest(), twin.Digest())
		}
		if d := diff(k.Plan(p1, shift), twin.Plan(p1, shift)); d != "" {
			t.Errorf("%s: plans (station: -, twin: +)\n%s", when, d)
		}
	}
	same("at once")
	size := events(t, twin)
	if twin.AdoptLibrary(k) {
		t.Error("the second time changed something")
	}
	if n := events(t, twin); n != size {
		t.Errorf("the second time: %d events, were %d", n, size)
	}
	k.ApplyAltered("call_sign: Q1", "call_sign: Q8")
	if !twin.AdoptLibrary(k) {
		t.Error("after a change nothing changed")
	}
	if n := events(t, twin); n != size+1 {
		t.Errorf("after one change: %d events, were %d", n, size)
	}
	same("after a change")
	twin.Reopen()
	same("after a restart")
}

// A command is repeated when its answer was lost.
func TestAdoptLibrary_RepeatedDoesNothing(t *testing.T) {
	k := stationtest.Open(t)
	twin := k.Twin()
	id, lib := twin.ID(), k.Library()
	for i := range 2 {
		changed, err := twin.Station.AdoptLibrary(ctx, id, lib)
		if err != nil || !changed {
			t.Errorf("time %d: %v, %v", i+1, changed, err)
		}
	}
	if n := events(t, twin); n != 14 {
		t.Errorf("%d events, want one for each of 14 things", n)
	}
	other := proto.CloneOf(lib)
	other.Vehicles[0].CallSign = "Q9"
	if _, err := twin.Station.AdoptLibrary(ctx, id, other); err == nil {
		t.Error("the id was taken for another library")
	}
}

// What a tablet fetches must fit into one message, which gRPC's clients take up
// to 4 MiB of; a true station should leave room to grow.
func TestGetLibrary_OfTheDemoCountyFits(t *testing.T) {
	k := stationtest.OpenDemo(t)
	resp, err := k.GetLibrary(ctx, &pb.GetLibraryRequest{})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d bytes with %d vehicles", proto.Size(resp), len(resp.GetLibrary().GetVehicles()))
	if proto.Size(resp) > 2<<20 {
		t.Errorf("%d bytes, more than half of what one message may have", proto.Size(resp))
	}
	twin := k.Twin()
	twin.AdoptLibrary(k)
	if twin.Digest() != k.Digest() {
		t.Error("what the twin took over is not the same")
	}
}

// A library too large for one command is put in force in parts; a repeat with the
// same id does nothing, and so does taking the same over again.
func TestAdoptLibrary_TakesParts(t *testing.T) {
	lib := stationtest.Open(t).Library()
	model := lib.GetPeople()[0]
	for i := range 9000 {
		p := proto.CloneOf(model)
		p.Name, p.PinArgon2Id = fmt.Sprintf("people/p-%04d", i), hash
		lib.People = append(lib.People, p)
	}
	twin := stationtest.Open(t).Twin()
	id := twin.ID()
	for range 2 {
		if changed, err := twin.Station.AdoptLibrary(ctx, id, lib); err != nil || !changed {
			t.Fatalf("taking over %d bytes: %v, %v", proto.Size(lib), changed, err)
		}
	}
	if changed, err := twin.Station.AdoptLibrary(ctx, twin.ID(), lib); err != nil || changed {
		t.Errorf("taking the same over again: %v, %v", changed, err)
	}
	check := func(when string) {
		t.Helper()
		if n := len(twin.Library().GetPeople()); n != 9003 || len(twin.Library().GetVehicles()) != 2 {
			t.Errorf("%s: %d people, %d vehicles", when, n, len(twin.Library().GetVehicles()))
		}
	}
	check("at once")
	twin.Reopen()
	check("after a restart")
	if n := events(t, twin); n != 14+9000 {
		t.Errorf("%d events", n)
	}
}
