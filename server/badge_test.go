package main

import (
	"path/filepath"
	"strings"
	"testing"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

// A badge is hashed by the station's key, stands in a person's file, and is told to nobody:
// not in lists, not in the changes of an apply, not in the stream of events.
func TestBadge_IsHashedAndToldNobody(t *testing.T) {
	s := filled(t)
	t.Setenv("BAYROUND_SERVER", s.address)
	folder := t.TempDir()
	badge, people := filepath.Join(folder, "badge.txt"), filepath.Join(folder, "apply", "people.yaml")
	writeFile(t, badge, "WN-0012345\n")
	line := strings.TrimSpace(must(t, "badge", badge))
	hash := strings.TrimPrefix(line, "badge_hmac_sha256: ")
	if len(hash) != 64 || line == hash || must(t, "badge", badge) != line+"\n" {
		t.Fatalf("printed %q, then %q", line, must(t, "badge", badge))
	}
	writeFile(t, people, "people:\n  - {name: people/newcomer, title: New Comer, roles: [ROLE_DRIVER]}\n")
	must(t, "apply", filepath.Dir(people))
	writeFile(t, people, "people:\n  - {name: people/newcomer, title: New Comer, roles: [ROLE_DRIVER], "+line+"}\n")
	told := must(t, "apply", filepath.Dir(people))
	requireIn(t, told, "badge_hmac_sha256", "given")
	err := asking(s.address, func(r *remote) error {
		list, err := r.vehicles.ListPeople(t.Context(), &pb.ListPeopleRequest{PageSize: 200})
		if err != nil {
			return err
		}
		told += list.String()
		stream, err := pb.NewJournalServiceClient(r.conn).Follow(t.Context(), &pb.FollowRequest{StopAtEnd: true, IncludeRecords: true})
		for err == nil {
			var m *pb.FollowResponse
			m, err = stream.Recv()
			told += m.String()
		}
		library, err := pb.NewTwinServiceClient(r.conn).GetLibrary(t.Context(), &pb.GetLibraryRequest{})
		if err != nil {
			return err
		}
		if key := library.GetBadgeKey(); len(key) != 32 || !strings.Contains(library.String(), hash) {
			t.Errorf("a tablet gets a key of %d bytes, and the hash: %t", len(key), strings.Contains(library.String(), hash))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	requireIn(t, told, "people/newcomer")
	if strings.Contains(told, hash) || strings.Contains(told, "WN-0012345") {
		t.Error("somebody else than a tablet is told of the badge")
	}
	writeFile(t, badge, "2468\n")
	if got := do(t, "badge", badge); got.code != command.ExitRefused || strings.Contains(got.err, "2468") {
		t.Errorf("a PIN for a badge: exit code %d, %s", got.code, got.err)
	}
	if got := do(t, "badge", filepath.Join(folder, "none")); got.code != command.ExitMisused {
		t.Errorf("no file: exit code %d, %s", got.code, got.err)
	}
	writeFile(t, people, "people:\n  - {name: people/newcomer, title: New Comer, roles: [ROLE_DRIVER], badge_hmac_sha256: WN-0012345}\n")
	if got := do(t, "apply", filepath.Dir(people)); got.code != command.ExitRefused || strings.Contains(got.err, "WN-0012345") || !strings.Contains(got.err, "server badge") {
		t.Errorf("a badge in place of its hash: exit code %d, %s", got.code, got.err)
	}
}
