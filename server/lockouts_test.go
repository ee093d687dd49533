package main

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

// An officer reads who is locked out of which tablet, and who let whom in again.
func TestLockOuts_TellsWhoIsStillLockedOut(t *testing.T) {
	s := filled(t)
	t.Setenv("BAYROUND_SERVER", s.address)
	requireIn(t, must(t, "lockouts"), "nobody was locked out")
	locked := func(id, person string) {
		t.Helper()
		report(t, s.address, &pb.ReportLockOutRequest{RequestId: id, Locked: person, Failures: 10, Device: "tablet-1", DeviceTime: timestamppb.Now()})
	}
	unlocked := func(id, person, by string) {
		t.Helper()
		report(t, s.address, &pb.ReportUnlockRequest{RequestId: id, Unlocked: person, Person: by, Device: "tablet-1", DeviceTime: timestamppb.Now()})
	}
	locked("6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c21", "people/arkwith")
	unlocked("6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c22", "people/arkwith", "people/osgarry")
	locked("6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c23", "people/fennigar")
	unlocked("6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c24", "people/fennigar", "")
	locked("6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c25", "people/arkwith")
	lines := strings.Split(must(t, "lockouts"), "\n")
	for i, want := range [][]string{
		{"WHEN", "TABLET", "PERSON"},
		{"tablet-1", "arkwith", "locked out by 10 wrong PINs"},
		{"tablet-1", "arkwith", "let in again by osgarry"},
		{"tablet-1", "fennigar", "locked out by 10 wrong PINs"},
		{"tablet-1", "fennigar", "let in again by a command on the tablet"},
		{"tablet-1", "arkwith", "still locked out"},
	} {
		requireIn(t, lines[i], want...)
		if i < 5 && strings.Contains(lines[i], "still locked out") {
			t.Errorf("let in again, and yet: %s", lines[i])
		}
	}
	requireIn(t, must(t, "lockouts", "--since", "2999-01-01"), "nobody was locked out")
	if got := do(t, "lockouts", "--since", "yesterday"); got.code != command.ExitMisused {
		t.Errorf("exit code %d for a day that is none", got.code)
	}
	for by, reason := range map[string]string{"people/venholt": "is no officer", "people/fennigar": "nobody unlocks themself"} {
		err := reported(t, s.address, &pb.ReportUnlockRequest{RequestId: "6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c26", Unlocked: "people/fennigar", Person: by, Device: "tablet-1", DeviceTime: timestamppb.Now()})
		if err == nil {
			t.Fatalf("%s lets somebody in", by)
		}
		requireIn(t, err.Error(), reason)
	}
}

// reported sends what a tablet reports.
func reported(t *testing.T, address string, req any) error {
	return asking(address, func(s *remote) (err error) {
		people := pb.NewPeopleServiceClient(s.conn)
		switch r := req.(type) {
		case *pb.ReportLockOutRequest:
			_, err = people.ReportLockOut(t.Context(), r)
		case *pb.ReportUnlockRequest:
			_, err = people.ReportUnlock(t.Context(), r)
		}
		return err
	})
}

func report(t *testing.T, address string, req any) {
	t.Helper()
	if err := reported(t, address, req); err != nil {
		t.Fatal(err)
	}
}
