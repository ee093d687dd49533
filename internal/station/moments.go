package station

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// Moment is a vehicle when what is said of it may have changed: right after a command,
// when time alone changed it, or when a doubt in the record came or went.
type Moment struct {
	// Before is how it stood until then; nil when nobody was told yet.
	Before *pb.Readiness
	// Now is how it stands from then on, without its rounds and ways back.
	Now *pb.Readiness
	// At is when, by the station's time.
	At time.Time
	// ID tells this moment from every other of any record, and is the same however
	// often the record is gone through: letters, digits and hyphens. It begins with the
	// sequence of the vehicle's newest event.
	ID string
}

// Place is how far somebody has been told. The zero value is before everything.
type Place struct {
	// Sequence is the newest event that was passed.
	Sequence int64 `json:"sequence"`
	// Token holds the place against the record's history, as that of Follow.
	Token string `json:"token"`
	// Passed is up to when changes by time were passed.
	Passed time.Time `json:"passed"`
	// Doubt is the doubt in the record that was told last; absent for none.
	Doubt pb.RecordDoubtKind `json:"doubt,omitempty"`
	// Doubts counts how often it came or went.
	Doubts int `json:"doubts,omitempty"`
}

// Telling goes through the moments of a record in order, from a place on. Nothing of
// it is held in memory but how each vehicle stood last, so whoever is slow delays only
// himself. It belongs to one goroutine.
type Telling struct {
	station *Station
	place   Place
	doubt   *pb.RecordDoubt
	seen    map[string]*toldOf
	ahead   *pb.JournalEvent // read already; nil for none
}

// toldOf is how a vehicle stood when it was told last.
type toldOf struct {
	readiness *pb.Readiness
	until     time.Time // when this changes by itself; zero = never
}

// Tell begins at a place. From the zero value on the first step is how every vehicle
// stands now. A place of another history, or before what was pruned, is
// fault.Precondition: begin anew.
func (s *Station) Tell(ctx context.Context, from Place) (*Telling, error) {
	t := &Telling{station: s, place: from, seen: map[string]*toldOf{}}
	if from.Token == "" {
		return t, nil
	}
	sequence, err := s.resume(from.Token)
	if err != nil && !s.Behind() {
		return nil, err
	}
	if err != nil { // what is missing may come back; its moments then bear the same ids
		sequence = s.journal.Size()
	}
	if sequence < s.journal.Horizon() {
		return nil, fault.New(fault.Precondition, "PLACE_DROPPED", "what followed event %d was dropped when its time was over; begin anew", sequence)
	}
	t.place.Sequence = int64(sequence)
	if from.Doubt != pb.RecordDoubtKind_RECORD_DOUBT_KIND_UNSPECIFIED {
		t.doubt = &pb.RecordDoubt{Kind: from.Doubt, Since: timestamppb.New(from.Passed)}
	}
	for _, name := range s.current.Load().names {
		if _, err := t.look(ctx, name, from.Passed); err != nil && !errors.Is(err, errNotYet) {
			return nil, err
		}
	}
	return t, nil
}

// JournalID is the id of the journal that is gone through.
func (t *Telling) JournalID() string { return t.station.journal.ID() }

// Behind is how many events of the record lie after the place.
func (t *Telling) Behind() int64 { return int64(t.station.journal.Size()) - t.place.Sequence }

// Next waits for the next step: what changed at one instant, vehicles by name, and the
// place after it. A step may hold nothing. It errs when ctx ends and when the station
// is closed or has failed.
func (t *Telling) Next(ctx context.Context) ([]Moment, Place, error) {
	for {
		_, news := t.station.board.look()
		moments, stepped, err := t.step(ctx)
		if err != nil || stepped {
			return moments, t.place, err
		}
		if err := t.station.await(ctx, news); err != nil {
			return nil, t.place, err
		}
	}
}

// step does the next step there is; false when there is none yet.
func (t *Telling) step(ctx context.Context) (moments []Moment, stepped bool, err error) {
	s := t.station
	published := s.current.Load().sequence
	if published == 0 {
		return nil, false, nil
	}
	if t.place.Token == "" {
		moments, err = t.present(ctx)
		return moments, true, err
	}
	if t.place.Sequence < published {
		moments, err = t.command(ctx)
		return moments, true, err
	}
	if doubt := s.doubts.worst.Load(); doubt.GetKind() != t.doubt.GetKind() {
		moments, err = t.doubted(ctx, doubt)
		return moments, true, err
	}
	due := t.due()
	if due.IsZero() || due.After(s.clock()) {
		return nil, false, nil
	}
	// A command that is under way may bear an earlier instant. Once the writing side
	// has answered it is published.
	if err := s.Answers(ctx); err != nil {
		return nil, false, err
	}
	if s.current.Load().sequence != published {
		return t.step(ctx)
	}
	moments, err = t.byTime(ctx, due)
	return moments, true, err
}

// present tells how every vehicle stands now.
func (t *Telling) present(ctx context.Context) ([]Moment, error) {
	p := t.station.current.Load()
	t.doubt = t.station.doubts.worst.Load()
	t.place.Doubt = t.doubt.GetKind()
	if err := t.pass(p.sequence, t.station.clock()); err != nil {
		return nil, err
	}
	return t.moments(ctx, p.names, t.place.Passed, "present-")
}

// command passes the next command, or what time changed before it.
func (t *Telling) command(ctx context.Context) ([]Moment, error) {
	first, err := t.event(t.place.Sequence + 1)
	if err != nil {
		return nil, err
	}
	at := first.GetStationTime().AsTime()
	if due := t.due(); !due.IsZero() && !due.After(at) {
		t.ahead = first
		return t.byTime(ctx, due)
	}
	names, last := map[string]bool{}, first
	for ev := first; ev.GetCommandId() == first.GetCommandId(); {
		names[ev.GetVehicle()], last = true, ev
		if isConfiguration(ev) {
			for _, name := range t.station.current.Load().names {
				names[name] = true
			}
		}
		if uint64(ev.GetSequence()) == t.station.journal.Size() {
			break
		}
		if ev, err = t.event(ev.GetSequence() + 1); err != nil {
			return nil, err
		}
		t.ahead = ev
	}
	delete(names, "")
	if err := t.pass(last.GetSequence(), at); err != nil {
		return nil, err
	}
	return t.moments(ctx, sortedKeys(names), at, "")
}

// byTime passes an instant at which time alone changes something.
func (t *Telling) byTime(ctx context.Context, at time.Time) ([]Moment, error) {
	var names []string
	for _, name := range sortedKeys(t.seen) {
		if t.seen[name].until.Equal(at) {
			names = append(names, name)
		}
	}
	t.place.Passed = at
	return t.moments(ctx, names, at, "")
}

// doubted tells what a doubt in the record does to every vehicle, or that it is gone.
func (t *Telling) doubted(ctx context.Context, doubt *pb.RecordDoubt) ([]Moment, error) {
	t.doubt = doubt
	t.place.Doubt, t.place.Passed = doubt.GetKind(), t.station.clock()
	t.place.Doubts++
	return t.moments(ctx, sortedKeys(t.seen), t.place.Passed, fmt.Sprintf("doubt%d-", t.place.Doubts))
}

// moments looks at vehicles anew and tells of those that changed.
func (t *Telling) moments(ctx context.Context, names []string, at time.Time, kind string) ([]Moment, error) {
	var changed []Moment
	for _, name := range names {
		before := t.seen[name]
		id, err := t.look(ctx, name, at)
		if errors.Is(err, errNotYet) {
			continue
		}
		if err != nil {
			return nil, err
		}
		m := Moment{Now: t.seen[name].readiness, At: at, ID: kind + id}
		if before != nil {
			m.Before = before.readiness
		}
		changed = append(changed, m)
	}
	return changed, nil
}

// due is when time alone next changes something; zero for never.
func (t *Telling) due() (first time.Time) {
	for _, s := range t.seen {
		if !s.until.IsZero() && (first.IsZero() || s.until.Before(first)) {
			first = s.until
		}
	}
	return first
}

// pass moves the place on, to an event.
func (t *Telling) pass(sequence int64, at time.Time) error {
	record, err := t.station.journal.Event(uint64(sequence))
	if err != nil {
		return err
	}
	t.place.Sequence, t.place.Passed = sequence, at
	t.place.Token = followToken(t.station.journal.ID(), uint64(sequence), record)
	return nil
}

// event reads an event, or when it was dropped the next one that is left: the newest
// always is.
func (t *Telling) event(sequence int64) (*pb.JournalEvent, error) {
	if gone, dropped := t.station.journal.Dropped(uint64(sequence)); dropped {
		sequence = int64(gone.Last) + 1
	}
	if t.ahead.GetSequence() == sequence {
		return t.ahead, nil
	}
	l := loader{journal: t.station.journal}
	return l.event(sequence)
}

// look notes how a vehicle stands at an instant after the event of the place. The id
// is the same for as long as it stands so.
func (t *Telling) look(ctx context.Context, name string, at time.Time) (id string, err error) {
	snap := t.station.current.Load().vehicles[name]
	if snap == nil || snap.standing.sequence > t.place.Sequence {
		if snap, err = t.station.snapshotAfter(ctx, name, t.place.Sequence); err != nil {
			return "", err
		}
	}
	st := snap.standing.walk(snap.fold, at)
	in := snap.input
	in.Record = t.doubt
	r := verdict.Of(&in, later(at, st.at))
	r.Since, r.Sequence = sinceWhen(r.GetVerdict(), st, t.doubt), st.sequence
	t.seen[name] = &toldOf{readiness: r, until: st.until}
	leaves, err := t.station.journal.Leaves(journal.Span{First: uint64(st.sequence), Last: uint64(st.sequence)})
	if err != nil {
		return "", err
	}
	id = fmt.Sprintf("%d-%s-%s", st.sequence, hex.EncodeToString(leaves[0][:8]), uuidOf(name))
	if st.at.After(snap.standing.at) {
		id += fmt.Sprintf("-%d", st.at.UnixNano())
	}
	return id, nil
}

// errNotYet says that a vehicle comes later in the record.
var errNotYet = errors.New("there was no such vehicle yet")

// snapshotAfter is a vehicle right after an event, without its rounds.
func (s *Station) snapshotAfter(ctx context.Context, name string, sequence int64) (*snapshot, error) {
	l := loader{journal: s.journal, at: uint64(sequence)}
	lib, err := s.past.at(ctx, l, s.current.Load().lib)
	if err != nil {
		return nil, err
	}
	if lib.models[name] == nil {
		return nil, errNotYet
	}
	v, err := l.vehicle(ctx, lib.models[name])
	if err != nil {
		return nil, fmt.Errorf("read %s after event %d: %w", name, sequence, err)
	}
	return v.snapshot(), nil
}

// Size is how many events the record holds.
func (s *Station) Size() int64 { return int64(s.journal.Size()) }
