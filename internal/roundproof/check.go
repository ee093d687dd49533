package roundproof

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	pb "bayround/proto/bayround/v1"
)

// ReasonOtherKey is the reason of a file that another station signed.
const ReasonOtherKey = "KEY_DIFFERS"

// Shown is what a file proves.
type Shown struct {
	// Checkpoint is what the station signed: how many events its record had, and the root of their tree.
	Checkpoint merkle.Checkpoint
	// Opened is the round as it was opened.
	Opened *pb.Round
	// Events are those of the round, oldest first. The first one opens it.
	Events []*pb.JournalEvent
	// Dropped are the numbers of events of the round of which only the hash is left.
	Dropped []int64
	// Vehicle is the configuration on which the round was opened; nil when the file leaves it out.
	Vehicle *pb.VehicleConfiguration
	// Steps are those of the plan the round was opened on; none when the file leaves them out.
	Steps []*pb.CheckStep
	// Gap is why nobody can tell from the file that no event of the round was left
	// out; empty when it can be told that there is none between the first and the last.
	// What was recorded after the last one it never shows: answers may come after the end.
	Gap string
}

// Check holds a file to everything, and to the station's key when it is known
// otherwise: without it anybody may have made the file anew and signed it with a key of
// his own. The error is fault.Lost.
func (f *File) Check(key string) (*Shown, error) {
	if key != "" && key != f.Key {
		return nil, fault.New(fault.Lost, ReasonOtherKey, "the file is not of the station with that key, it names the key %.200q: it is of another station, or was made anew by somebody", f.Key)
	}
	verifier, err := note.NewVerifier(f.Key)
	if err != nil || strings.ContainsFunc(f.Key, unprintable) {
		return nil, damaged("the station's key cannot be read").Because(err)
	}
	s := &Shown{}
	if s.Checkpoint, err = merkle.OpenCheckpoint([]byte(f.Checkpoint), verifier); err != nil {
		return nil, damaged("its checkpoint is not one of %s", verifier.Name()).Because(err)
	}
	if !onceSigned(f.Checkpoint, verifier) {
		return nil, damaged("its checkpoint has more than the one signature of %s", verifier.Name())
	}
	last := int64(0)
	for _, ev := range f.Events {
		if ev.Number <= last {
			return nil, damaged("event %d stands behind event %d", ev.Number, last)
		}
		last = ev.Number
		if err := f.take(s, ev); err != nil {
			return nil, err
		}
	}
	if s.Opened == nil {
		return nil, damaged("the opening of %.80q is not there", f.Round)
	}
	if err := s.takeSteps(f.Steps); err != nil {
		return nil, err
	}
	if s.Vehicle != nil && s.Vehicle.GetRevision() != s.Opened.GetVehicleRevision() {
		return nil, damaged("configuration %d of the vehicle is not the one on which the round was opened, %d", s.Vehicle.GetRevision(), s.Opened.GetVehicleRevision())
	}
	return s, s.link()
}

// onceSigned tells whether a checkpoint has one signature, once: others would be overlooked.
func onceSigned(checkpoint string, verifier note.Verifier) bool {
	n, err := note.Open([]byte(checkpoint), note.VerifierList(verifier))
	if err != nil || len(n.UnverifiedSigs) > 0 {
		return false
	}
	again, err := note.Sign(n)
	return err == nil && string(again) == checkpoint
}

// unprintable tells what no key of a station has, and what could steer a terminal.
func unprintable(r rune) bool { return r <= ' ' || r > '~' }

// take makes sure of one event and puts it where it belongs.
func (f *File) take(s *Shown, ev Event) error {
	leaf := ev.Leaf
	if len(ev.Record) > 0 {
		leaf = tlog.RecordHash(ev.Record)
	}
	if err := tlog.CheckRecord(ev.Path, int64(s.Checkpoint.Size), s.Checkpoint.Root, ev.Number-1, leaf); err != nil {
		return damaged("event %d is not in the tree that the station signed", ev.Number).Because(err)
	}
	if len(ev.Record) == 0 {
		s.Dropped = append(s.Dropped, ev.Number)
		return nil
	}
	told := &pb.JournalEvent{}
	if err := proto.Unmarshal(ev.Record, told); err != nil {
		return damaged("event %d cannot be read", ev.Number).Because(err)
	}
	if told.GetSequence() != ev.Number {
		return damaged("event %d stands there as event %d", told.GetSequence(), ev.Number)
	}
	switch {
	case RoundOf(told) == f.Round && f.Round != "":
		return s.takeOwn(told)
	case told.GetVehicleApplied() != nil && s.Opened == nil:
		if s.Vehicle != nil {
			return damaged("event %d is a second configuration of a vehicle", ev.Number)
		}
		s.Vehicle = told.GetVehicleApplied()
		return nil
	}
	return damaged("event %d is not of %.80q", ev.Number, f.Round)
}

// takeOwn takes an event of the round.
func (s *Shown) takeOwn(ev *pb.JournalEvent) error {
	opening := ev.GetRoundOpened().GetRound()
	if (opening != nil) != (s.Opened == nil) {
		return damaged("event %d is not what must stand there: a round is opened once, before all else", ev.GetSequence())
	}
	if opening != nil {
		s.Opened = opening
		if s.Vehicle != nil && s.Vehicle.GetName() != opening.GetVehicle() {
			return damaged("the configuration is of %.80q, the round of %.80q", s.Vehicle.GetName(), opening.GetVehicle())
		}
	}
	s.Events = append(s.Events, ev)
	return nil
}

// takeSteps makes sure that the steps are those of the plan on which the round was opened:
// the digest is that of package plan, over each step's length as eight bytes, greatest first,
// and its bytes.
func (s *Shown) takeSteps(steps [][]byte) error {
	if len(steps) == 0 {
		return nil
	}
	h := sha256.New()
	for i, b := range steps {
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(b))))
		h.Write(b)
		step := &pb.CheckStep{}
		if err := proto.Unmarshal(b, step); err != nil {
			return damaged("step %d of the plan cannot be read", i+1).Because(err)
		}
		s.Steps = append(s.Steps, step)
	}
	if digest := hex.EncodeToString(h.Sum(nil)); digest != s.Opened.GetPlanDigest() {
		return damaged("the steps are not those of the plan on which the round was opened: they have digest %s, its opening says %.80q", digest, s.Opened.GetPlanDigest())
	}
	return nil
}

// link follows the events of the round from the last to the first: each names the one before.
func (s *Shown) link() error {
	at := func(number int64) bool {
		return slices.ContainsFunc(s.Events, func(ev *pb.JournalEvent) bool { return ev.GetSequence() == number })
	}
	for i, ev := range slices.Backward(s.Events) {
		before := ev.GetPreviousInRound()
		switch {
		case i == 0 && before != 0:
			return damaged("the opening of the round speaks of event %d before it", before)
		case i == 0:
		case before == 0:
			s.Gap = "its events do not name the one before them: they were recorded before events did"
		case slices.Contains(s.Dropped, before):
			s.Gap = "only the hash of some of its events is left, and nobody can tell what they were"
		case !at(before):
			return damaged("event %d of the round is left out: event %d names it", before, ev.GetSequence())
		case before != s.Events[i-1].GetSequence():
			return damaged("event %d names event %d as the one before, not event %d", ev.GetSequence(), before, s.Events[i-1].GetSequence())
		}
	}
	return s.linkDropped()
}

// linkDropped makes sure that an event of which only the hash is left is one that another names.
func (s *Shown) linkDropped() error {
	for _, number := range s.Dropped {
		named := func(ev *pb.JournalEvent) bool { return ev.GetPreviousInRound() == number }
		if !slices.ContainsFunc(s.Events, named) {
			return damaged("no event of the round names event %d, of which only the hash is there", number)
		}
	}
	return nil
}
