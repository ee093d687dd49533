package station

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// state is what the events so far say: the working state. It belongs to the
// goroutine that applies events: the journal's committer, or whoever rebuilds.
type state struct {
	sequence int64
	anchor   // of the newest event
	lib      *library
	draft    *draft   // configuration events of a command that is not complete yet; nil = none
	prepared *library // what the draft will make, worked out beforehand; nil = was not
	vehicles map[string]*vehicle
	rounds   map[string]*round   // live ones, and ended ones that took a result lately
	ended    []string            // ended rounds in rounds, longest there first
	opened   []roundRef          // every round, in the order of opening; only ever appended to
	unsigned map[string]roundRef // finished rounds that wait for an officer's signature, by name
	changed  map[string]*vehicle // since the last publication
	instead  func(d *draft)      // changes what is put in force, to see what would have been; nil for what was
	horizon  int64               // event up to which content may have been dropped; what led to a defect may be gone
	supposed bool                // goes through what would have been, where a defect that was dealt with may never have been found
	stock    accounts            // of materials; replaced, never changed
	reframed bool                // some round's frame has changed since the last publication

	// archive reads what is not in memory.
	archive archive
}

// archive is where a state finds what it does not keep in memory.
type archive interface {
	// round returns an ended round as the rows have it; nil when there is none.
	round(name string) (*round, error)
	// result returns the look at a step that an event recorded or took over.
	result(sequence int64, stepID string) (*pb.Result, error)
}

// roundRef is a line of the list of all rounds.
type roundRef struct {
	name, vehicle string
	opening       int64
}

// compare puts rounds in the order of opening; several may have been taken over
// by one event.
func (r roundRef) compare(s roundRef) int {
	return cmp.Or(cmp.Compare(r.opening, s.opening), cmp.Compare(r.name, s.name))
}

func newState(a archive) *state {
	return &state{
		lib: emptyLibrary(), vehicles: map[string]*vehicle{}, rounds: map[string]*round{}, unsigned: map[string]roundRef{},
		changed: map[string]*vehicle{}, archive: a,
	}
}

// schema is the version of the event record that this code writes and reads. Who adds a
// kind of event, or changes what one means, raises it.
const schema = 7

// errEvent says that an event speaks of something that is not there.
var errEvent = errors.New("it speaks of something that the events before it do not know")

// apply is the one way in which an event changes the state; it returns the rows
// that say the same. It is used when the event is decided and when it is
// replayed. known spares the judging of a result that was judged already; nil
// when it was not. last tells that the event is the last one of its command.
// An error means that the state is of no more use.
func (st *state) apply(ev *pb.JournalEvent, known *judgement, last bool, rows *rowSet) error {
	st.sequence, st.station = ev.GetSequence(), ev.GetStationTime().AsTime()
	if st.configures(ev, rows) {
		if !last {
			return nil
		}
		return st.adopt(st.completed(), rows)
	}
	if ofRecord(ev) {
		return nil
	}
	if moved := ev.GetStockMoved(); moved != nil { // whichever vehicle it went onto is as it was
		st.stockMoved(moved, rows)
		return nil
	}
	v := st.vehicles[ev.GetVehicle()]
	if v == nil {
		return fmt.Errorf("event %d: vehicle %q: %w", ev.GetSequence(), ev.GetVehicle(), errEvent)
	}
	v.standing = v.standing.walk(v.fold, st.station)
	if err := st.happen(v, ev, known, rows); err != nil {
		return fmt.Errorf("event %d: %w", ev.GetSequence(), err)
	}
	if err := st.endTakeover(v, rows); err != nil {
		return fmt.Errorf("event %d: %w", ev.GetSequence(), err)
	}
	st.conclude(v, rows)
	return nil
}

// completed is the library that the draft makes. When it was prepared
// beforehand only what came from which event is still missing.
func (st *state) completed() *library {
	if st.instead != nil {
		st.instead(st.draft)
	}
	if st.prepared == nil {
		return st.draft.finish(st.lib)
	}
	lib := *st.prepared
	lib.refs = st.draft.refs
	return &lib
}

// happen does to a vehicle what an event says.
func (st *state) happen(v *vehicle, ev *pb.JournalEvent, known *judgement, rows *rowSet) error {
	switch e := ev.GetEvent().(type) {
	case *pb.JournalEvent_RoundOpened:
		return st.roundOpened(v, e.RoundOpened, rows)
	case *pb.JournalEvent_RoundStateChanged:
		return st.roundStateChanged(v, ev, rows)
	case *pb.JournalEvent_StepBegun:
		return st.stepBegun(v, e.StepBegun, rows)
	case *pb.JournalEvent_MadeSafe:
		return st.madeSafe(v, e.MadeSafe, rows)
	case *pb.JournalEvent_ResultRecorded:
		return st.resultRecorded(v, e.ResultRecorded, known, rows)
	case *pb.JournalEvent_AssistantChanged:
		return st.assistantChanged(v, e.AssistantChanged, rows)
	case *pb.JournalEvent_RoundSigned:
		return st.roundSigned(e.RoundSigned, rows)
	case *pb.JournalEvent_RepairRecorded:
		return st.repairRecorded(v, e.RepairRecorded, rows)
	case *pb.JournalEvent_DefectAcknowledged:
		return st.defectAcknowledged(v, e.DefectAcknowledged, rows)
	case *pb.JournalEvent_DefectDeferred:
		return st.defectDeferred(v, e.DefectDeferred, rows)
	case *pb.JournalEvent_DeferralEnded:
		return st.deferralEnded(v, ev, rows)
	case *pb.JournalEvent_VehicleStopped:
		return st.vehicleStopped(v, e.VehicleStopped, rows)
	case *pb.JournalEvent_VehicleReleased:
		return st.vehicleReleased(v, e.VehicleReleased, rows)
	case *pb.JournalEvent_IncidentRecorded:
		return st.incidentRecorded(v, e.IncidentRecorded, rows)
	case *pb.JournalEvent_WheelsFitted:
		return st.wheelsFitted(v, ev, rows)
	case *pb.JournalEvent_HandedOver:
		return st.handedOver(v, e.HandedOver, rows)
	case *pb.JournalEvent_StandingAdopted:
		return st.standingAdopted(v, e.StandingAdopted, rows)
	case *pb.JournalEvent_CallSignChanged:
		return st.callSignTaken(v, e.CallSignChanged, rows)
	}
	return fmt.Errorf("%T: %w", ev.GetEvent(), errEvent)
}

// conclude works out the verdict after an event and notes that the vehicle
// has changed.
func (st *state) conclude(v *vehicle, rows *rowSet) {
	v.standing = v.standing.after(v.fold, st.station, st.sequence)
	st.changed[v.name] = v
	rows.put(standingRows+v.name, v.standing.encode())
}

// configures takes a configuration event into the draft; false when the event
// is another.
func (st *state) configures(ev *pb.JournalEvent, rows *rowSet) bool {
	if !isConfiguration(ev) {
		return false // before anything is cloned: this is asked for every result
	}
	if st.draft == nil {
		st.draft = st.lib.draft()
	}
	name := st.draft.put(ev)
	r := st.draft.refs[name]
	rows.put(inForceRows+name, r.inForceRow())
	if v := ev.GetVehicleApplied(); v != nil {
		rows.put(revisionKey(name, v.GetRevision()), record{}.number(1, r.sequence))
	}
	return true
}

// isConfiguration tells that an event puts something in force.
func isConfiguration(ev *pb.JournalEvent) bool {
	switch ev.GetEvent().(type) {
	case *pb.JournalEvent_StationApplied, *pb.JournalEvent_VehicleApplied, *pb.JournalEvent_GaugeApplied,
		*pb.JournalEvent_PersonApplied, *pb.JournalEvent_CatalogueApplied, *pb.JournalEvent_RoutineApplied,
		*pb.JournalEvent_RulePackApplied, *pb.JournalEvent_PersonErased:
		return true
	}
	return false
}

func revisionKey(vehicle string, revision int64) string {
	return fmt.Sprintf("%s%s/%010d", revisionRows, vehicle, revision)
}

// adopt puts a library in force. Vehicles whose model it changes are judged
// anew; the others are not touched.
func (st *state) adopt(lib *library, rows *rowSet) error {
	st.lib, st.draft, st.prepared = lib, nil, nil
	for _, name := range sortedKeys(lib.models) {
		m, v := lib.models[name], st.vehicles[name]
		switch {
		case v == nil:
			v = newVehicle(name, m)
			v.happenings.since = st.station
			st.vehicles[name] = v
			if err := st.putHappenings(v, v.happenings.told, rows); err != nil {
				return err
			}
		case v.model == m:
			continue
		default:
			v.standing = v.standing.walk(v.fold, st.station)
			if err := st.changedBy(v, m, rows); err != nil {
				return err
			}
		}
		v.adopt(m)
		if err := st.closeOfVanished(v, rows); err != nil {
			return err
		}
		if err := st.endTakeover(v, rows); err != nil {
			return err
		}
		st.conclude(v, rows)
	}
	return nil
}

// liveFrames gives the frames of all rounds that are open or paused, by name.
func (st *state) liveFrames() map[string]*frame {
	frames := map[string]*frame{}
	for _, v := range st.vehicles {
		for name, r := range v.rounds {
			frames[name] = r.frame
		}
	}
	return frames
}

// maxEnded is how many ended rounds that took late results stay in memory.
const maxEnded = 64

// forget drops what need not stay in memory; it must be called only when
// everything applied is durable, for what is dropped is read from the rows.
func (st *state) forget() {
	for len(st.ended) > maxEnded {
		delete(st.rounds, st.ended[0])
		st.ended = st.ended[1:]
	}
}

// recall returns a round, from memory or from the archive; nil when there is none.
func (st *state) recall(name string) (*round, error) {
	if r := st.rounds[name]; r != nil {
		return r, nil
	}
	r, err := st.archive.round(name)
	if r == nil || err != nil {
		return nil, err
	}
	st.keep(r)
	return r, nil
}

// keep holds an ended round in memory for a while.
func (st *state) keep(r *round) {
	st.rounds[r.name()] = r
	st.ended = append(st.ended, r.name())
}

// uuidOf is the last part of a resource name.
func uuidOf(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }
