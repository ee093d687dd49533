package main

import (
	"errors"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protojson"

	"bayround/internal/command"
	pb "bayround/proto/bayround/v1"
)

var toSign = regexp.MustCompile(`--seen ([0-9a-f]{16})`)

// An officer looks at what would be signed, and signs exactly that: by the mark. The record
// page then holds the signature against the events.
func TestSign_SignsWhatWasLookedAt(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	must(t, "play", round(t, "03-wn12-shift.yaml"))
	name := roundIDs(t, "--vehicle", "wn12")[0]
	first := must(t, "sign", name, "--person", "osgarry")
	mark := toSign.FindStringSubmatch(first)
	if mark == nil {
		t.Fatalf("no mark in\n%s", first)
	}
	requireIn(t, first, "wn12", "signed so far: -", "finished")
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"nobody said", []string{"sign", name}, command.ExitMisused, "--person"},
		{"another mark", []string{"sign", name, "--person", "osgarry", "--seen", "0123456789abcdef"}, command.ExitMisused, "nothing was signed"},
		{"no officer", []string{"sign", name, "--person", "venholt", "--seen", mark[1]}, command.ExitRefused, "is no officer"},
		{"no such round", []string{"sign", "00000000-0000-4000-8000-000000000001", "--person", "osgarry"}, command.ExitRefused, "round"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
	requireIn(t, must(t, "sign", name, "--person", "osgarry", "--seen", mark[1]), "signatures of: osgarry")
	requireIn(t, must(t, "records", "--vehicle", "wn12"), "SIGNED", "osgarry")
	requireIn(t, must(t, "record", name), "as officer in charge", "the certificate of the program", "fits what is on record")
	requireIn(t, must(t, "sign", name, "--person", "halvane"), "signed so far: osgarry")
}

// The rounds that wait for an officer are found by themselves, and no others.
func TestRecords_FindsWhatWaitsForAnOfficer(t *testing.T) {
	s := filled(t)
	t.Setenv("BAYROUND_SERVER", s.address)
	must(t, "play", round(t, "03-wn12-shift.yaml"))
	first := roundIDs(t, "--vehicle", "wn12")[0]
	if all := must(t, "records", "--unsigned"); strings.Contains(all, first) {
		t.Errorf("nobody asked for an officer's signature, and yet\n%s", all)
	}
	err := asking(s.address, func(r *remote) error {
		resp, err := r.vehicles.ListRoutines(t.Context(), &pb.ListRoutinesRequest{PageSize: 200})
		if err != nil {
			return err
		}
		for _, routine := range resp.GetRoutines() {
			if routine.GetName() == "routines/shift" {
				routine.OfficerSigns = true
				file, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(&pb.StationFile{Routines: []*pb.Routine{routine}})
				if err != nil {
					return err
				}
				_, err = r.vehicles.Apply(t.Context(), &pb.ApplyRequest{RequestId: uuid.NewString(), Files: []*pb.NamedFile{{FileName: "shift.yaml", Content: file}}})
				return err
			}
		}
		return errors.New("the county has no shift check")
	})
	if err != nil {
		t.Fatal(err)
	}
	must(t, "play", round(t, "05-wn21-shift.yaml"))
	waits := roundIDs(t, "--unsigned")
	if len(waits) != 1 || waits[0] == first {
		t.Fatalf("waiting: %v", waits)
	}
	mark := toSign.FindStringSubmatch(must(t, "sign", waits[0], "--person", "osgarry"))
	must(t, "sign", waits[0], "--person", "osgarry", "--seen", mark[1])
	if all := must(t, "records", "--unsigned"); strings.Contains(all, waits[0]) {
		t.Errorf("signed, and yet\n%s", all)
	}
}
