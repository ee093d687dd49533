package roundproof_test

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/merkle"
	"bayround/internal/roundproof"
	pb "bayround/proto/bayround/v1"
)

const theRound = "rounds/0d6f1f0e-8f0c-4c38-9c8c-0c7d0b2f8a11"

// keys are those of a station; whoever asks for the same seed gets the same ones.
func keys(t testing.TB, seed byte) (signer note.Signer, public string) {
	t.Helper()
	secret, public, err := note.GenerateKey(strings.NewReader(strings.Repeat(string(rune('a'+seed)), 64)), "bayround/station")
	if err == nil {
		signer, err = note.NewSigner(secret)
	}
	if err != nil {
		t.Fatal(err)
	}
	return signer, public
}

// ledger is a record in memory.
type ledger struct {
	t      testing.TB
	events [][]byte
	hashes []tlog.Hash
}

// ReadHashes reads stored hashes.
func (l *ledger) ReadHashes(indexes []int64) (found []tlog.Hash, err error) {
	for _, i := range indexes {
		found = append(found, l.hashes[i])
	}
	return found, nil
}

// add appends an event, and returns its number.
func (l *ledger) add(ev *pb.JournalEvent) int64 {
	l.t.Helper()
	ev.Sequence, ev.CommandId = int64(len(l.events)+1), "c"
	record, err := proto.MarshalOptions{Deterministic: true}.Marshal(ev)
	if err != nil {
		l.t.Fatal(err)
	}
	more, err := tlog.StoredHashes(int64(len(l.events)), record, l)
	if err != nil {
		l.t.Fatal(err)
	}
	l.events, l.hashes = append(l.events, record), append(l.hashes, more...)
	return ev.GetSequence()
}

// proven is an event with its proof in the whole record.
func (l *ledger) proven(number int64) roundproof.Event {
	l.t.Helper()
	path, err := tlog.ProveRecord(int64(len(l.events)), number-1, l)
	if err != nil {
		l.t.Fatal(err)
	}
	return roundproof.Event{Number: number, Record: l.events[number-1], Path: path}
}

// checkpoint is the record's, signed.
func (l *ledger) checkpoint(signer note.Signer) string {
	l.t.Helper()
	root, err := tlog.TreeHash(int64(len(l.events)), l)
	signed, err2 := merkle.Checkpoint{Origin: signer.Name(), Size: uint64(len(l.events)), Root: root}.Sign(signer)
	if err := errors.Join(err, err2); err != nil {
		l.t.Fatal(err)
	}
	return string(signed)
}

// steps are those of a plan, and their digest as package plan makes it.
func steps(t testing.TB) (all [][]byte, digest string) {
	t.Helper()
	h := sha256.New()
	for _, id := range []string{"TYR-121/axle-2", "FLU-010/engine-oil"} {
		b, err := proto.Marshal(&pb.CheckStep{StepId: id, Title: "Step " + id, LimitText: "Between the marks."})
		if err != nil {
			t.Fatal(err)
		}
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(b))))
		h.Write(b)
		all = append(all, b)
	}
	return all, hex.EncodeToString(h.Sum(nil))
}

// story is a record with a round in it, other things between, and what belongs to the round.
type story struct {
	*ledger
	own     []int64 // events of the round
	vehicle int64
	steps   [][]byte
}

// tell makes the story; linked says that each event names the one before.
func tell(t testing.TB, linked bool) *story {
	t.Helper()
	s := &story{ledger: &ledger{t: t}}
	var digest string
	s.steps, digest = steps(t)
	other := func() {
		s.add(&pb.JournalEvent{Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: &pb.Round{Name: "rounds/other"}}}})
	}
	own := func(ev *pb.JournalEvent) {
		if linked && len(s.own) > 0 {
			ev.PreviousInRound = s.own[len(s.own)-1]
		}
		s.own = append(s.own, s.add(ev))
	}
	answer := func(step string, bar float64) {
		own(&pb.JournalEvent{Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{Result: &pb.Result{
			Round: theRound, StepId: step,
			Answer: &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: bar, Unit: "bar"}}}},
		}}}})
	}
	other()
	s.vehicle = s.add(&pb.JournalEvent{Event: &pb.JournalEvent_VehicleApplied{VehicleApplied: &pb.VehicleConfiguration{Name: "vehicles/wn11", CallSign: "WN11", Revision: 3}}})
	other()
	own(&pb.JournalEvent{Event: &pb.JournalEvent_RoundOpened{RoundOpened: &pb.RoundOpened{Round: &pb.Round{
		Name: theRound, Vehicle: "vehicles/wn11", VehicleRevision: 3, PlanDigest: digest, Steps: 2, Driver: "people/arkwith",
	}}}})
	answer("TYR-121/axle-2", 3.9)
	other()
	answer("FLU-010/engine-oil", 8.5)
	own(&pb.JournalEvent{Event: &pb.JournalEvent_RoundStateChanged{RoundStateChanged: &pb.RoundStateChanged{Round: theRound, State: pb.RoundState_ROUND_STATE_FINISHED}}})
	other()
	return s
}

// file is the proof of the round by a station's key.
func (s *story) file(signer note.Signer, public string) *roundproof.File {
	f := &roundproof.File{Round: theRound, Key: public, Steps: slices.Clone(s.steps), Checkpoint: s.checkpoint(signer)}
	for _, number := range append([]int64{s.vehicle}, s.own...) {
		f.Events = append(f.Events, s.proven(number))
	}
	return f
}

// drop leaves only the hash of an event of a file.
func drop(f *roundproof.File, place int) {
	f.Events[place].Leaf, f.Events[place].Record = tlog.RecordHash(f.Events[place].Record), nil
}

// read parses and checks a file.
func read(file []byte, key string) (*roundproof.Shown, error) {
	f, err := roundproof.Parse(file)
	if err != nil {
		return nil, err
	}
	return f.Check(key)
}
