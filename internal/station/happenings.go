package station

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// How much is remembered of what happened to a vehicle; the journal keeps all.
const (
	maxHappenings = 64
	maxStood      = 16
	longStand     = 24 * time.Hour // the shortest that the contract lets a routine ask for
)

// happenings is what happened to a vehicle beside being checked. It is replaced, never
// changed, so that snapshots share it.
type happenings struct {
	since time.Time // when the vehicle came on the register
	told  *pb.Happenings
}

// happened notes that something happened to a vehicle.
func (st *state) happened(v *vehicle, kind pb.HappeningKind, at time.Time, rows *rowSet) error {
	told := proto.CloneOf(v.happenings.told)
	told.Newest = append(told.Newest, &pb.Happening{Kind: kind, At: timestamppb.New(at)})
	told.Newest = told.Newest[max(0, len(told.Newest)-maxHappenings):]
	return st.putHappenings(v, told, rows)
}

// engineRan notes when the engine of a vehicle ran, if that was later than what is known; the
// time between, when it is long, is one in which it stood.
func (st *state) engineRan(v *vehicle, at time.Time, rows *rowSet) error {
	told := v.happenings.told
	before := told.GetRan().AsTime()
	if told.GetRan() != nil && !at.After(before) {
		return nil
	}
	told = proto.CloneOf(told)
	if told.GetRan() != nil && at.Sub(before) >= longStand {
		told.Stood = append(told.Stood, &pb.Stood{From: told.GetRan(), Until: timestamppb.New(at)})
		told.Stood = told.Stood[max(0, len(told.Stood)-maxStood):]
	}
	told.Ran = timestamppb.New(at)
	return st.putHappenings(v, told, rows)
}

// said takes from the conditions of a round what dues rest on.
func (st *state) said(v *vehicle, conditions *pb.RoundConditions, device *timestamppb.Timestamp, rows *rowSet) error {
	if err := st.odometerRead(v, conditions, device, rows); err != nil {
		return err
	}
	return st.saidToHaveRun(v, conditions, rows)
}

// saidToHaveRun takes from the conditions of a round when the engine last stopped.
func (st *state) saidToHaveRun(v *vehicle, said *pb.RoundConditions, rows *rowSet) error {
	if said.GetEngineStopped() == nil {
		return nil
	}
	at := said.GetEngineStopped().AsTime()
	if at.After(st.station) {
		at = st.station // by a clock that is ahead
	}
	return st.engineRan(v, at, rows)
}

func (st *state) incidentRecorded(v *vehicle, e *pb.IncidentRecorded, rows *rowSet) error {
	at := e.GetReturned().AsTime()
	if err := st.happened(v, pb.HappeningKind_HAPPENING_KIND_INCIDENT, at, rows); err != nil {
		return err
	}
	return st.engineRan(v, at, rows)
}

// changedBy notes that another configuration asks for other steps. A catalogue that does so
// changes nothing on the vehicle.
func (st *state) changedBy(v *vehicle, m *model, rows *rowSet) error {
	if v.model.vehicle.GetRevision() == m.vehicle.GetRevision() || v.model.catalogue != m.catalogue || sameSteps(v.model, m) {
		return nil
	}
	return st.happened(v, pb.HappeningKind_HAPPENING_KIND_CHANGE, st.station, rows)
}

func sameSteps(a, b *model) bool {
	for id := range b.steps {
		if a.steps[id] == nil {
			return false
		}
	}
	return len(a.steps) == len(b.steps)
}

// callSignTaken notes a vehicle that takes another's place, beside what it answers to.
func (st *state) callSignTaken(v *vehicle, h *pb.CallSignHolding, rows *rowSet) error {
	if h.GetCountsFrom() != nil {
		if err := st.happened(v, pb.HappeningKind_HAPPENING_KIND_TAKEOVER, h.GetCountsFrom().AsTime(), rows); err != nil {
			return err
		}
	}
	return st.callSignChanged(v, h, rows)
}

func (st *state) putHappenings(v *vehicle, told *pb.Happenings, rows *rowSet) error {
	v.happenings = happenings{since: v.happenings.since, told: told}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(told)
	if err != nil {
		return err
	}
	rows.put(happenedRows+v.name, record{}.instant(1, v.happenings.since).message(2, b))
	return nil
}

func (l *loader) happenings(v *vehicle) error {
	value, err := l.journal.Row(happenedRows+v.name, l.at)
	if err != nil {
		return err
	}
	f, err := readFields(value)
	if err != nil || value == nil {
		return unreadable("row "+happenedRows+v.name, err)
	}
	v.happenings = happenings{since: f.instant(1), told: &pb.Happenings{}}
	for _, b := range f.bytes[2] {
		if err := proto.Unmarshal(b, v.happenings.told); err != nil {
			return unreadable("row "+happenedRows+v.name, err)
		}
	}
	return nil
}
