package station

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/fault"
	"bayround/internal/journal"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// loader reads what the rows said at one time, and the events they point at.
type loader struct {
	journal   *journal.Journal
	at        uint64                     // event number; 0 = now
	adoptions map[int64]*pb.JournalEvent // those read so far, by sequence
}

// event reads one event.
func (l *loader) event(sequence int64) (*pb.JournalEvent, error) {
	b, err := l.journal.Event(uint64(sequence))
	if err != nil {
		return nil, err
	}
	return parseEvent(uint64(sequence), b)
}

// instantOf is when an event happened; of one whose content was dropped, when the
// newest before it did that is left.
func (l *loader) instantOf(sequence int64) (time.Time, error) {
	if gone, dropped := l.journal.Dropped(uint64(sequence)); dropped {
		sequence = int64(gone.First) - 1 // the first events put things in force and are never dropped
	}
	ev, err := l.event(sequence)
	if err != nil {
		return time.Time{}, err
	}
	return ev.GetStationTime().AsTime(), nil
}

func parseEvent(sequence uint64, b []byte) (*pb.JournalEvent, error) {
	ev := &pb.JournalEvent{}
	if err := proto.Unmarshal(b, ev); err != nil {
		return nil, unreadable(fmt.Sprintf("event %d", sequence), err)
	}
	if ev.GetSchema() > schema {
		return nil, fault.Newer("EVENT_NEWER", fmt.Sprintf("event %d of the record", ev.GetSequence()), uint64(ev.GetSchema()), schema)
	}
	return ev, nil
}

// origin reads an event that something came from. One that took a vehicle
// over is kept, as it is asked for again for every step.
func (l *loader) origin(sequence int64) (*pb.JournalEvent, error) {
	if ev := l.adoptions[sequence]; ev != nil {
		return ev, nil
	}
	ev, err := l.event(sequence)
	if err != nil || ev.GetStandingAdopted() == nil {
		return ev, err
	}
	if l.adoptions == nil {
		l.adoptions = map[int64]*pb.JournalEvent{}
	}
	l.adoptions[sequence] = ev
	return ev, nil
}

// result reads the result that an event recorded, or took over as the newest one
// of a step, or as the newest of somebody who looked; nil for 0.
func (l *loader) result(sequence int64, stepID string, real bool) (*pb.Result, error) {
	if sequence == 0 {
		return nil, nil
	}
	ev, err := l.origin(sequence)
	if err != nil {
		return nil, err
	}
	res := ev.GetResultRecorded().GetResult()
	if answers := ev.GetStandingAdopted().GetAnswers(); len(answers) > 0 {
		i, _ := slices.BinarySearchFunc(answers, stepID, func(a *pb.StandingAnswer, id string) int { return cmp.Compare(a.GetStepId(), id) })
		if res = nil; i < len(answers) && answers[i].GetStepId() == stepID {
			res = takenFrom(answers[i], real)
		}
	}
	if res == nil {
		return nil, unreadable(fmt.Sprintf("event %d", sequence), errEvent)
	}
	return res, nil
}

// takenFrom picks a result of what was taken over of a step.
func takenFrom(a *pb.StandingAnswer, real bool) *pb.Result {
	if real && !a.GetNewestIsReal() {
		return a.GetReal()
	}
	return a.GetNewest()
}

// recorded reads a result of a round.
func (l *loader) recorded(round string, from source) (*pb.Result, error) {
	ev, err := l.origin(from.sequence)
	if err != nil {
		return nil, err
	}
	res := ev.GetResultRecorded().GetResult()
	if from.place > 0 {
		res = nil
		for _, r := range ev.GetStandingAdopted().GetRounds() {
			if r.GetRound().GetName() == round && from.place <= len(r.GetResults()) {
				res = r.GetResults()[from.place-1]
			}
		}
	}
	if res == nil {
		return nil, unreadable(fmt.Sprintf("event %d", from.sequence), errEvent)
	}
	return res, nil
}

// each reads all rows whose key begins with prefix; key comes without it.
func (l *loader) each(ctx context.Context, prefix string, take func(key string, value []byte) error) error {
	return l.journal.Rows(ctx, prefix, l.at, func(key string, value []byte) error {
		return take(strings.TrimPrefix(key, prefix), value)
	})
}

// eachRecord is each for rows of our own layout.
func (l *loader) eachRecord(ctx context.Context, prefix string, take func(key string, f fields) error) error {
	return l.each(ctx, prefix, func(key string, value []byte) error {
		f, err := readFields(value)
		if err != nil {
			return unreadable("row "+prefix+key, err)
		}
		return take(key, f)
	})
}

// refs reads which events had put in force what was in force.
func (l *loader) refs(ctx context.Context) (map[string]ref, error) {
	refs := map[string]ref{}
	err := l.eachRecord(ctx, inForceRows, func(name string, f fields) error {
		refs[name] = readRef(f)
		return nil
	})
	return refs, err
}

// library reads what was in force. What is the same as in like is taken from
// there, so that nothing is compiled or planned twice.
func (l *loader) library(refs map[string]ref, like *library) (*library, error) {
	if maps.Equal(refs, like.refs) {
		return like, nil
	}
	d := emptyLibrary().draft()
	for _, name := range sortedKeys(refs) {
		ev := like.applied(name, refs[name])
		if ev == nil {
			var err error
			if ev, err = l.event(refs[name].sequence); err != nil {
				return nil, err
			}
			if err := l.person(ev); err != nil {
				return nil, err
			}
		}
		if d.put(ev) != name {
			return nil, unreadable("row "+inForceRows+name, errEvent)
		}
	}
	d.refs = refs
	return d.finish(like), nil
}

// applied makes up the event that put a thing in force, out of the very thing;
// nil when another one is in force.
func (l *library) applied(name string, r ref) *pb.JournalEvent {
	if l.refs[name] != r {
		return nil
	}
	ev := &pb.JournalEvent{Sequence: r.sequence}
	kind, _, _ := strings.Cut(name, "/")
	switch kind {
	case "stations":
		ev.Event = &pb.JournalEvent_StationApplied{StationApplied: l.set.Stations[name]}
	case "vehicles":
		ev.Event = &pb.JournalEvent_VehicleApplied{VehicleApplied: l.set.Vehicles[name]}
	case "gauges":
		ev.Event = &pb.JournalEvent_GaugeApplied{GaugeApplied: l.set.Gauges[name]}
	case "people":
		ev.Event = &pb.JournalEvent_PersonApplied{PersonApplied: l.set.People[name]}
	case catalogueName:
		ev.Event = &pb.JournalEvent_CatalogueApplied{CatalogueApplied: l.set.Catalogue}
	case "routines":
		ev.Event = &pb.JournalEvent_RoutineApplied{RoutineApplied: l.set.Routines[name]}
	case "packs":
		ev.Event = &pb.JournalEvent_RulePackApplied{RulePackApplied: l.set.Packs[name]}
	}
	return ev
}

// vehicle reads one vehicle, without its rounds, and judges it by a model.
func (l *loader) vehicle(ctx context.Context, m *model) (*vehicle, error) {
	v := newVehicle(m.vehicle.GetName(), m)
	for _, read := range []func(context.Context, *vehicle) error{l.answers, l.measured, l.defects, l.undone, l.holding} {
		if err := read(ctx, v); err != nil {
			return nil, err
		}
	}
	v.adopt(m)
	if err := l.happenings(v); err != nil {
		return nil, err
	}
	return v, l.standing(v)
}

func (l *loader) answers(ctx context.Context, v *vehicle) error {
	return l.eachRecord(ctx, stepRows+v.name+"/", func(id string, f fields) (err error) {
		a := &verdict.Answer{Sequence: f.number(1), RealSequence: f.number(2), VoidBefore: f.instant(3)}
		if a.Newest, err = l.result(a.Sequence, id, false); err != nil {
			return err
		}
		v.answers[id] = a
		if sequence := f.number(4); sequence != 0 {
			v.former[id] = former{sequence: sequence}
		}
		if a.RealSequence == a.Sequence && l.adoptions[a.Sequence] == nil {
			a.Real = a.Newest
			return nil
		}
		if a.Real, err = l.result(a.RealSequence, id, true); a.Real.GetResultId() == a.Newest.GetResultId() {
			a.Real = a.Newest
		}
		return err
	})
}

func (l *loader) defects(ctx context.Context, v *vehicle) error {
	return l.each(ctx, defectRows+v.name+"/", func(id string, value []byte) error {
		d := &pb.Defect{}
		if err := proto.Unmarshal(value, d); err != nil {
			return unreadable("the row of defect "+id, err)
		}
		v.defects[d.GetName()] = d
		return nil
	})
}

func (l *loader) undone(ctx context.Context, v *vehicle) error {
	return l.each(ctx, undoneRows+v.name+"/", func(id string, value []byte) error {
		u := &pb.UndoneStep{}
		if err := proto.Unmarshal(value, u); err != nil {
			return unreadable("the row of undone step "+id, err)
		}
		v.undone[id] = u
		return nil
	})
}

// holding takes up which call sign the vehicle answers to.
func (l *loader) holding(_ context.Context, v *vehicle) error {
	value, err := l.journal.Row(holdingRows+v.name, l.at)
	if err != nil || value == nil {
		return err
	}
	v.holding = &pb.CallSignHolding{}
	if err := proto.Unmarshal(value, v.holding); err != nil {
		return unreadable("row "+holdingRows+v.name, err)
	}
	return nil
}

// standing takes up the verdict as it stood right after the vehicle's newest event.
func (l *loader) standing(v *vehicle) error {
	value, err := l.journal.Row(standingRows+v.name, l.at)
	if err != nil {
		return err
	}
	f, err := readFields(value)
	if err != nil || value == nil {
		return unreadable("row "+standingRows+v.name, err)
	}
	s := standing{verdict: pb.Verdict(f.number(1)), since: f.instant(2)}
	v.standing = s.after(v.fold, f.instant(3), f.number(4))
	return nil
}
