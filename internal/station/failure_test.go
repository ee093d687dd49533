package station

import (
	"context"
	"strings"
	"testing"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

const someone = "people:\n  - {name: people/driver, title: Driver, roles: [ROLE_DRIVER]}\n"

// applyPeople puts one person in force.
func applyPeople(t *testing.T, s *Station, id, text string) error {
	t.Helper()
	_, err := s.Apply(context.Background(), &pb.ApplyRequest{RequestId: id, Files: []*pb.NamedFile{{FileName: "people.yaml", Content: []byte(text)}}})
	return err
}

func listTitles(t *testing.T, s *Station) string {
	t.Helper()
	resp, err := s.ListPeople(context.Background(), &pb.ListPeopleRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var titles []string
	for _, p := range resp.GetPeople() {
		titles = append(titles, p.GetTitle())
	}
	return strings.Join(titles, ", ")
}

// A command that was decided and then not stored ends the station's writing
// life: nobody ever sees it, nothing more is taken, and the next start finds
// the journal as it was.
func TestFailure_NothingIsPublished(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(context.Background(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if err := applyPeople(t, s, "11111111-0000-4000-8000-000000000001", someone); err != nil {
		t.Fatal(err)
	}
	sequence := s.current.Load().sequence

	// The journal refuses an event of more than half a MiB, after it was decided.
	huge := &pb.Person{Name: "people/huge", Title: strings.Repeat("x", 600<<10), Roles: []pb.Role{pb.Role_ROLE_DRIVER}}
	_, _, err = run(context.Background(), s, "11111111-0000-4000-8000-000000000002", huge, func(c *command) (*pb.Person, error) {
		return huge, c.put(c.event(&pb.JournalEvent{Event: &pb.JournalEvent_PersonApplied{PersonApplied: huge}}), nil, true)
	})
	if !fault.Is(err, fault.Unavailable) {
		t.Errorf("what was not stored is answered with %v", err)
	}
	select {
	case <-s.Failed():
	default:
		t.Error("the station does not say that it has failed")
	}
	if got := listTitles(t, s); got != "Driver" || s.current.Load().sequence != sequence {
		t.Errorf("readers see %q at event %d", got, s.current.Load().sequence)
	}
	if err := applyPeople(t, s, "11111111-0000-4000-8000-000000000003", strings.Replace(someone, "driver", "other", 1)); !fault.Is(err, fault.Unavailable) {
		t.Errorf("a failed station answers %v", err)
	}
	if err := s.Watch(context.Background(), nil, func(*pb.WatchReadinessResponse) error { return nil }); !fault.Is(err, fault.Unavailable) {
		t.Errorf("a watch of a failed station ends with %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}

	s, err = Open(context.Background(), Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	if got := listTitles(t, s); got != "Driver" {
		t.Errorf("after a restart readers see %q", got)
	}
	if err := applyPeople(t, s, "11111111-0000-4000-8000-000000000003", strings.Replace(someone, "driver", "other", 1)); err != nil {
		t.Errorf("after a restart: %v", err)
	}
}

// A command that refuses after it has let something happen has spoilt the
// working state; that must not pass unnoticed.
func TestFailure_RefusedTooLate(t *testing.T) {
	s, err := Open(context.Background(), Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}()
	person := &pb.Person{Name: "people/x", Title: "X", Roles: []pb.Role{pb.Role_ROLE_DRIVER}}
	_, _, err = run(context.Background(), s, "11111111-0000-4000-8000-000000000002", person, func(c *command) (*pb.Person, error) {
		if err := c.put(c.event(&pb.JournalEvent{Event: &pb.JournalEvent_PersonApplied{PersonApplied: person}}), nil, true); err != nil {
			return nil, err
		}
		return nil, fault.New(fault.Precondition, "TOO_LATE", "too late")
	})
	if !fault.Is(err, fault.Unavailable) {
		t.Errorf("answered with %v", err)
	}
	select {
	case <-s.Failed():
	default:
		t.Error("the station goes on with a state that the journal does not have")
	}
	if got := listTitles(t, s); got != "" {
		t.Errorf("readers see %q", got)
	}
}

// Rows come from disk: whatever their bytes, reading them comes back.
func FuzzReadFields(f *testing.F) {
	f.Add([]byte(record{}.number(1, 5).text(2, "x").number(7, 1)))
	f.Add([]byte{0xff, 0xff})
	f.Fuzz(func(t *testing.T, b []byte) {
		fields, err := readFields(b)
		if err == nil && len(b) > 0 && len(fields.numbers)+len(fields.bytes) == 0 {
			t.Errorf("%x is said to be a row without fields", b)
		}
	})
}
