package station_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// Every former name goes, too; what the person did stays under the id, now and as of
// any time; and readers of the past are not shown the name either.
func TestErasePerson_LeavesTheRecordAndTakesTheName(t *testing.T) {
	k := stationtest.Open(t)
	for _, title := range []string{"Bertrand Umberslade", "Bertrand Umberslade-Quill"} {
		if err := applyPerson(k, "people/driver", title, pinOf("Key")); err != nil {
			t.Fatal(err)
		}
	}
	round := k.RecordAll("vehicles/p1", "routines/shift")
	if _, err := erasePerson(k, "people/driver", "people/mechanic"); !fault.Is(err, fault.Precondition) {
		t.Fatalf("erased in the middle of a round: %v", err)
	}
	if _, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
		t.Fatal(err)
	}
	before := k.Readiness("vehicles/p1")
	k.Clock.Advance(time.Minute)
	req := &pb.ErasePersonRequest{RequestId: k.ID(), Person: "people/driver", By: "people/mechanic", Reason: "left the service"}
	resp, err := k.ErasePerson(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	if d := diff(&pb.Person{Name: "people/driver", Title: "erased person", Erased: true}, resp.GetPerson()); d != "" {
		t.Errorf("answered (-want +got):\n%s", d)
	}
	if again, err := k.ErasePerson(ctx, req); err != nil || !proto.Equal(again, resp) {
		t.Errorf("repeated: %v, %v", again, err)
	}
	for range 2 {
		then, err := k.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: "vehicles/p1", AsOf: before.GetAsOf()})
		if err != nil || diff(before, then.GetReadiness()) != "" {
			t.Errorf("as of before: %v\n%s", err, diff(before, then.GetReadiness()))
		}
		if got, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: round}); err != nil || got.GetRound().GetDriver() != "people/driver" {
			t.Errorf("the round is of %v, %v", got, err)
		}
		list, err := k.ListPeople(ctx, &pb.ListPeopleRequest{})
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(list.String(), "Bertrand") || !list.GetPeople()[0].GetErased() {
			t.Errorf("listed as %v", list)
		}
		k.Reopen()
	}
	if err := k.Station.Close(); err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"Umberslade", pinOf("Key")} {
		if in := inFilesOf(t, k.Dir(), word); len(in) > 0 {
			t.Errorf("%q stands in %v", word, in)
		}
	}
}

func TestErasePerson_Refuses(t *testing.T) {
	k := stationtest.Open(t)
	for _, name := range []string{"people/gone", "people/idle"} {
		if err := applyPerson(k, name, "Gone", ""); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := erasePerson(k, "people/gone", "people/mechanic"); err != nil {
		t.Fatal(err)
	}
	round := k.OpenRound("vehicles/p1", "routines/shift")
	if _, err := k.ChangeAssistant(ctx, &pb.ChangeAssistantRequest{RequestId: k.ID(), Round: round, Assistant: "people/other"}); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		why, person, by string
		want            refusal
	}{
		{"nobody of that name", "people/nobody", "people/mechanic", refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		{"by nobody", "people/other", "people/nobody", refusal{fault.NotFound, "PERSON_UNKNOWN"}},
		{"by oneself", "people/mechanic", "people/mechanic", refusal{fault.Invalid, "ERASED_BY_ONESELF"}},
		{"by who was erased", "people/other", "people/gone", refusal{fault.Precondition, "PERSON_ERASED"}},
		{"erased before", "people/gone", "people/mechanic", refusal{fault.Precondition, "PERSON_ERASED"}},
		{"drives", "people/driver", "people/mechanic", refusal{fault.Precondition, "PERSON_IN_ROUND"}},
		{"assists", "people/other", "people/mechanic", refusal{fault.Precondition, "PERSON_IN_ROUND"}},
		{"by a driver", "people/other", "people/driver", refusal{fault.Precondition, "NOT_ADMINISTRATOR"}},
		{"has nothing to do", "people/idle", "people/mechanic", refusal{}},
	} {
		t.Run(tc.why, func(t *testing.T) {
			_, err := erasePerson(k, tc.person, tc.by)
			tc.want.check(t, err)
		})
	}
}

// Who was erased does nothing any more; what was done before the erasure is taken
// when it arrives after it.
func TestErased_ActsNoMoreButArrivesLate(t *testing.T) {
	k := stationtest.Open(t)
	live := k.OpenRound("vehicles/p2", "routines/shift")
	if err := applyPerson(k, "people/gone", "Gone", ""); err != nil {
		t.Fatal(err)
	}
	before := k.Clock.Now()
	k.Clock.Advance(time.Hour)
	if _, err := erasePerson(k, "people/gone", "people/mechanic"); err != nil {
		t.Fatal(err)
	}
	k.Clock.Advance(time.Hour)
	open := func(at *timestamppb.Timestamp) error {
		_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
			Round: "rounds/" + k.ID(), Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/gone", Device: "tablet-1", DeviceTime: at,
		})
		return err
	}
	assist := func(at *timestamppb.Timestamp) error {
		_, err := k.ChangeAssistant(ctx, &pb.ChangeAssistantRequest{RequestId: k.ID(), Round: live, Assistant: "people/gone", DeviceTime: at})
		return err
	}
	for _, act := range []func(*timestamppb.Timestamp) error{open, assist} {
		refusal{fault.Precondition, "PERSON_ERASED"}.check(t, act(nil))
		refusal{fault.Precondition, "PERSON_ERASED"}.check(t, act(timestamppb.New(k.Clock.Now())))
		refusal{}.check(t, act(timestamppb.New(before)))
	}
	r := stationtest.Seen("GLA-010/windscreen", "sound")
	r.Person, r.DeviceTime = "people/gone", timestamppb.New(before)
	if _, err := k.TryRecord(live, r); err != nil {
		t.Errorf("a late result: %v", err)
	}
	_, err := k.CheckGauge(ctx, &pb.CheckGaugeRequest{RequestId: k.ID(), Gauge: "gauges/g-1", Check: &pb.GaugeCheck{
		Person: "people/gone", Reference: "dead weight tester", ReferenceValue: 800, Shown: 800,
	}})
	refusal{fault.Precondition, "PERSON_ERASED"}.check(t, err)
}

// The journal's bytes of before names stood apart: they open, show everybody, and
// are not written anew; what stands in them cannot be erased, and that is said.
func TestPeople_OfAnOldRecord(t *testing.T) {
	dir := t.TempDir()
	writeOldRecord(t, dir)
	k := stationtest.OpenWith(t, stationtest.NewClock(), station.Options{Dir: dir})
	if got := shown(k)["people/old"]; got.GetTitle() != "Old Timer" || got.GetPinArgon2Id() != pinOf("Old") {
		t.Errorf("the old person is shown as %v", got)
	}
	_, err := erasePerson(k, "people/old", "people/other")
	refusal{fault.Precondition, "NAME_IN_RECORD"}.check(t, err)
	if err := applyPerson(k, "people/old", "Old Timer, anew", pinOf("New")); err != nil { // apart from now on
		t.Fatal(err)
	}
	_, err = erasePerson(k, "people/old", "people/other")
	refusal{fault.Precondition, "NAME_IN_RECORD"}.check(t, err)
	if err := applyPerson(k, "people/young", "Young", ""); err != nil {
		t.Fatal(err)
	}
	if _, err := erasePerson(k, "people/young", "people/other"); err != nil {
		t.Errorf("one who came later: %v", err)
	}
	var first *pb.JournalEvent
	err = k.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		if first == nil {
			first = ev
		}
		return nil
	})
	if err != nil || first.GetPersonApplied().GetTitle() != "Old Timer" {
		t.Errorf("the old event is now %v, %v", first, err)
	}
}

// writeOldRecord writes a journal as a station of before wrote it.
func writeOldRecord(t *testing.T, dir string) {
	t.Helper()
	j, err := journal.Open(ctx, journal.Options{Dir: dir, Origin: "bayround/station", RowsVersion: "5"})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range []*pb.Person{
		{Name: "people/old", Title: "Old Timer", PinArgon2Id: pinOf("Old"), Roles: []pb.Role{pb.Role_ROLE_DRIVER}},
		{Name: "people/other", Title: "Other", Roles: []pb.Role{pb.Role_ROLE_DRIVER, pb.Role_ROLE_ADMINISTRATOR}},
	} {
		id := fmt.Sprintf("44444444-0000-4000-8000-%012d", i)
		event, err := proto.Marshal(&pb.JournalEvent{
			Sequence: int64(i + 1), CommandId: id, StationTime: timestamppb.New(stationtest.Morning.Add(-time.Hour)), Schema: 1,
			Event: &pb.JournalEvent_PersonApplied{PersonApplied: p},
		})
		if err != nil {
			t.Fatal(err)
		}
		_, err = j.Append(ctx, journal.Command{ID: id}, func(uint64) (journal.Entry, error) {
			return journal.Entry{Events: [][]byte{event}}, nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// A copy of the record from before an erasure brings the name back; the station
// erases it again when it makes its rows anew.
func TestErased_IsErasedAgainWhenBroughtBack(t *testing.T) {
	from := stationtest.Open(t)
	if err := applyPerson(from, "people/gone", "Ottoline Quillfeather", ""); err != nil {
		t.Fatal(err)
	}
	var brought []journal.Apart
	var events [][]byte
	read := func() {
		if err := from.Station.Close(); err != nil {
			t.Fatal(err)
		}
		j, err := journal.Open(context.Background(), journal.Options{Dir: from.Dir()})
		if err != nil {
			t.Fatal(err)
		}
		events = nil
		err = j.Commands(ctx, 1, func(s journal.Stored) error {
			brought = slices.Concat(brought, s.Apart)
			for _, e := range s.Events {
				events = append(events, e.Record)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := j.Close(); err != nil {
			t.Fatal(err)
		}
	}
	read() // the older copy
	from = stationtest.OpenWith(t, from.Clock, station.Options{Dir: from.Dir(), Now: from.Clock.Now})
	_, err := from.ErasePerson(ctx, &pb.ErasePersonRequest{RequestId: "55555555-0000-4000-8000-000000000001", Person: "people/gone", By: "people/mechanic", Reason: "left"})
	if err != nil {
		t.Fatal(err)
	}
	older := brought
	read() // the newer copy
	dir := t.TempDir()
	j, err := journal.Open(ctx, journal.Options{Dir: dir, Origin: "bayround/station", RowsVersion: "to be made anew"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = j.Append(ctx, journal.Command{ID: "all"}, func(uint64) (journal.Entry, error) {
		return journal.Entry{Events: events, Apart: older}, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if len(inFilesOf(t, dir, "Quillfeather")) == 0 {
		t.Fatal("the name was not brought back: this test would see nothing")
	}
	k := stationtest.OpenWith(t, stationtest.NewClock(), station.Options{Dir: dir})
	if in := inFilesOf(t, dir, "Quillfeather"); len(in) > 0 {
		t.Errorf("the name stands in %v", in)
	}
	if got := shown(k)["people/gone"]; got.GetTitle() != "erased person" {
		t.Errorf("shown as %v", got)
	}
}
