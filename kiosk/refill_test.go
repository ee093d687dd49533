package main

import (
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/protobuf/proto"

	"bayround/internal/command"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// await waits for what another process does.
func await(t testing.TB, what string, so func() bool) {
	t.Helper()
	again := time.NewTicker(20 * time.Millisecond)
	defer again.Stop()
	stuck := time.NewTimer(2 * patience) // only so that a failure says what it waited for
	defer stuck.Stop()
	for !so() {
		select {
		case <-again.C:
		case <-stuck.C:
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

// store is the folder of the record's store.
func (s *ofRecord) store() string { return filepath.Join(s.data, "badger") }

// stopped ends the station, as a service manager does.
func (s *ofRecord) stopped() {
	s.t.Helper()
	if code := s.end(); code != command.ExitDone {
		s.t.Fatalf("the station ended with %d\n%s", code, s.log)
	}
}

// head is how far the station's record has come, signed by it.
func (s *ofRecord) head() (signed string, head merkle.Checkpoint) {
	s.t.Helper()
	now, err := pb.NewJournalServiceClient(s.dial()).GetCheckpoint(s.t.Context(), &pb.GetCheckpointRequest{})
	if err != nil {
		s.t.Fatal(err)
	}
	return now.GetCheckpoint(), s.opened(now.GetCheckpoint(), now.GetVerifierKey())
}

// opened reads a checkpoint that a key has signed.
func (s *ofRecord) opened(signed, key string) merkle.Checkpoint {
	s.t.Helper()
	verifier, err := note.NewVerifier(key)
	if err != nil {
		s.t.Fatal(err)
	}
	head, err := merkle.OpenCheckpoint([]byte(signed), verifier)
	if err != nil {
		s.t.Fatal(err)
	}
	return head
}

// events are those of the record that are newer than a sequence.
func (s *ofRecord) events(after uint64) (newer []*pb.JournalEvent) {
	s.t.Helper()
	stream, err := pb.NewJournalServiceClient(s.dial()).ExportRecord(s.t.Context(), &pb.ExportRecordRequest{FirstSequence: int64(after) + 1})
	for err == nil {
		var m *pb.ExportRecordResponse
		if m, err = stream.Recv(); err != nil {
			break
		}
		for _, record := range m.GetPart().GetCommand().GetEvents() {
			ev := &pb.JournalEvent{}
			if err := proto.Unmarshal(record.GetRecord(), ev); err != nil {
				s.t.Fatal(err)
			}
			newer = append(newer, ev)
		}
	}
	if !errors.Is(err, io.EOF) {
		s.t.Fatal(err)
	}
	return newer
}

// replaced puts a copy of a folder in the place of another.
func replaced(t testing.TB, folder, by string) {
	t.Helper()
	if err := errors.Join(os.RemoveAll(folder), os.CopyFS(folder, os.DirFS(by))); err != nil {
		t.Fatal(err)
	}
}

// copied is how many events the tablet's copy of the record holds on its disk.
func (k *tablet) copied() (last uint64) {
	k.t.Helper()
	files, err := filepath.Glob(filepath.Join(k.data, "copy", "0*.record"))
	if err != nil {
		k.t.Fatal(err)
	}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			k.t.Fatal(err)
		}
		r, err := recordfile.NewReader(f)
		for err == nil {
			_, err = r.Next()
			last = r.Last()
		}
		_ = f.Close()
	}
	return last
}

// keeps waits until the tablet holds the station's whole record and has made sure of it.
func (k *tablet) keeps(s *ofRecord) {
	k.t.Helper()
	signed, head := s.head()
	await(k.t, "the tablet to copy the record", func() bool { return k.copied() == head.Size && k.witness().Checkpoint == signed })
}

// witnessed is what the tablet keeps of the station.
type witnessed struct {
	Checkpoint string `json:"checkpoint"`
	Alarm      *struct {
		Message string `json:"message"`
	} `json:"alarm"`
}

func (k *tablet) witness() (w witnessed) {
	k.t.Helper()
	b, err := os.ReadFile(filepath.Join(k.data, "witness.json"))
	if err == nil {
		err = json.Unmarshal(b, &w)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		k.t.Fatal(err)
	}
	return w
}

// server runs a command of the server's program and gives what it said.
func server(t testing.TB, args ...string) string {
	t.Helper()
	said, err := serverProgram(t, args...).CombinedOutput()
	if exit := (*exec.ExitError)(nil); err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return string(said)
}

// wantBehind makes sure that a station proves nothing and takes nothing.
func (s *ofRecord) wantBehind(vehicle string, refused string) {
	s.t.Helper()
	now := s.readiness(vehicle)
	if now.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || len(now.GetReasons()) == 0 || !containsFold(now.GetReasons()[0].GetText(), "lost its newest entries") {
		s.t.Errorf("a station that lost its newest events says %v of %s: %v", now.GetVerdict(), vehicle, now.GetReasons())
	}
	if said := server(s.t, "play", filepath.Join(county, "rounds", refused), "--server", s.address); !containsFold(said, "its newest events are lost; nothing is taken") {
		s.t.Errorf("a round at it is answered with\n%s", said)
	}
}

// A station whose store has lost its newest events gets them back from the copy that a
// tablet holds: all of them, under the same root, and nothing else in between.
func TestRefill_AStationGetsBackFromATabletWhatItLost(t *testing.T) {
	t.Parallel() // it waits more than it works
	s := startStation(t)
	s.play("09-t1-before-tow.yaml")
	s.stopped()
	older := filepath.Join(t.TempDir(), "older")
	replaced(t, older, s.store())
	s.restart()
	s.play("01-wn11-shift.yaml", "02-wn11-weekly.yaml")
	k := startTablet(t, s.address, "tablet-1")
	k.keeps(s)
	said := s.readiness("vehicles/wn11")
	signed, head := s.head()
	if said.GetVerdict() != pb.Verdict_VERDICT_FIT {
		t.Fatalf("to begin with %v: %v", said.GetVerdict(), said.GetReasons())
	}
	k.kill()
	s.stopped()
	replaced(t, s.store(), older)

	s.restart()
	s.wantBehind("vehicles/wn11", "03-wn12-shift.yaml")
	k.restart()
	<-s.ended // to be started again, once the tablet has offered enough
	if code := s.command.ProcessState.ExitCode(); code != command.ExitMendable {
		t.Fatalf("the station ended with %d, want %d\n%s", code, command.ExitMendable, s.log)
	}
	s.restart()
	if now := s.readiness("vehicles/wn11"); now.GetVerdict() != said.GetVerdict() || !proto.Equal(now.GetSince(), said.GetSince()) {
		t.Errorf("it said %v since %v, and says %v since %v: %v", said.GetVerdict(), said.GetSince(), now.GetVerdict(), now.GetSince(), now.GetReasons())
	}
	s.wantGrown(signed, head)
	newer := s.events(head.Size)
	if len(newer) != 1 || newer[0].GetRecordRefilled() == nil || newer[0].GetRecordRefilled().GetLastSequence() != int64(head.Size) {
		t.Errorf("after what it had before it holds %v; want word of the refill, up to event %d, and nothing else", newer, head.Size)
	}
	k.keeps(s)
	if alarm := k.witness().Alarm; alarm != nil {
		t.Errorf("the tablet raised an alarm: %s", alarm.Message)
	}
	s.verify()
}

// wantGrown makes sure that the record begins with exactly the events that a former
// head counts, by the proof of RFC 6962, 2.1.2.
func (s *ofRecord) wantGrown(signed string, head merkle.Checkpoint) {
	s.t.Helper()
	proof, err := pb.NewJournalServiceClient(s.dial()).ProveConsistency(s.t.Context(), &pb.ProveConsistencyRequest{KnownCheckpoint: signed, Device: "auditor"})
	if err != nil {
		s.t.Fatal(err)
	}
	path, err := merkle.Hashes(proof.GetConsistencyPath())
	if err != nil {
		s.t.Fatal(err)
	}
	_, now := s.head()
	if err := merkle.Grown(head, now, path); err != nil {
		s.t.Errorf("the record of %d events does not go on from the %d that there were: %v", now.Size, head.Size, err)
	}
}

// A tablet that holds as many events and more, but of another history, is no help: its
// copy is refused, it raises an alarm, and the station goes on proving nothing.
func TestRefill_OfAnotherHistoryIsRefusedAndAnAlarm(t *testing.T) {
	t.Parallel() // it waits more than it works
	s := startStation(t)
	k := newTablet(t, s.address, "tablet-1") // enrolled before the histories part
	s.stopped()
	folder := t.TempDir()
	older, ours, other := filepath.Join(folder, "older"), filepath.Join(folder, "ours"), filepath.Join(folder, "other")
	replaced(t, older, s.store())
	replaced(t, other, s.data)
	s.restart()
	s.play("09-t1-before-tow.yaml")
	s.stopped()
	if err := errors.Join(os.Rename(s.data, ours), os.Rename(other, s.data)); err != nil {
		t.Fatal(err)
	}
	s.restart()
	s.play("01-wn11-shift.yaml", "02-wn11-weekly.yaml") // longer than what there is in truth
	k.start(t, "127.0.0.1:0", "127.0.0.1:0")
	k.keeps(s)
	k.kill()
	s.stopped()
	replaced(t, s.data, ours)
	replaced(t, s.store(), older)

	s.restart()
	k.restart()
	await(t, "an alarm", func() bool { return k.witness().Alarm != nil })
	if alarm := k.witness().Alarm.Message; !strings.Contains(alarm, "not the one this tablet saw before") {
		t.Errorf("the alarm says %q", alarm)
	}
	s.wantBehind("vehicles/t1", "03-wn12-shift.yaml")
	s.stopped() // it had no reason to end by itself
	if kept, err := filepath.Glob(filepath.Join(s.data, station.RefillFolder, "*")); err != nil || len(kept) > 0 {
		t.Errorf("of the other history it keeps %v, %v", kept, err)
	}
	s.restart()
	s.wantBehind("vehicles/t1", "03-wn12-shift.yaml")
}
