package station

import (
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/roundproof"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// trace is what must be known of the rounds of a record to say which of them
// something rests on.
type trace struct {
	rounds  map[string]*tracedRound // that began before the horizon
	later   map[string]bool         // rounds that something since the horizon speaks of
	looks   map[look][]string       // rounds in which something was measured
	open    map[string]*finding     // by the name of the defect
	closed  []*finding
	photos  map[string]bool // named elsewhere than in rounds before the horizon
	command string          // of the event before
	round   string          // of the event before
}

// tracedRound is what happened in a round before the horizon.
type tracedRound struct {
	vehicle string
	events  []uint64
	photos  []string
}

// look is when something was measured.
type look struct {
	vehicle, step string
	at            int64 // nanoseconds
}

// finding is a defect from when it was found until it was closed.
type finding struct {
	found  map[string]bool // rounds that found it
	closed string          // round that closed it; "" when none did
}

func newTrace() *trace {
	return &trace{
		rounds: map[string]*tracedRound{}, later: map[string]bool{}, looks: map[look][]string{},
		open: map[string]*finding{}, photos: map[string]bool{},
	}
}

// before notes what an event may change. It returns how often the open defects of
// its step were found.
func (t *trace) before(st *state, ev *pb.JournalEvent) map[string]int32 {
	v, res := st.vehicles[ev.GetVehicle()], ev.GetResultRecorded().GetResult()
	if v == nil || res == nil {
		return nil
	}
	open := map[string]int32{}
	for _, name := range v.openAt(res.GetStepId()) {
		open[name] = v.defects[name].GetTimesFound()
	}
	return open
}

// after notes what an event before the horizon has changed.
func (t *trace) after(st *state, ev *pb.JournalEvent, open map[string]int32) {
	round := roundproof.RoundOf(ev)
	if ev.GetCommandId() == t.command && round != t.round { // a command is dropped whole
		t.later[round], t.later[t.round] = true, true
	}
	t.command, t.round = ev.GetCommandId(), round
	if round == "" {
		t.elsewhere(ev)
		t.followDefects(st)
		return
	}
	r := t.rounds[round]
	if r == nil {
		r = &tracedRound{vehicle: ev.GetVehicle()}
		t.rounds[round] = r
	}
	r.events = append(r.events, uint64(ev.GetSequence()))
	res := ev.GetResultRecorded().GetResult()
	if res == nil {
		return
	}
	r.photos = append(r.photos, res.GetPhotos()...)
	if isMeasured(res) {
		l := look{ev.GetVehicle(), res.GetStepId(), verdict.Looked(res).UnixNano()}
		t.looks[l] = append(t.looks[l], round)
	}
	t.found(st.vehicles[ev.GetVehicle()], res, open)
}

// found follows the defects of a step through a result.
func (t *trace) found(v *vehicle, res *pb.Result, before map[string]int32) {
	now := v.openAt(res.GetStepId())
	for _, name := range now {
		times, was := before[name]
		if was && times == v.defects[name].GetTimesFound() {
			continue
		}
		if !was || t.open[name] == nil {
			t.open[name] = &finding{found: map[string]bool{}}
		}
		t.open[name].found[res.GetRound()] = true
	}
	for name := range before {
		if f := t.open[name]; f != nil && !slices.Contains(now, name) {
			f.closed = res.GetRound()
			t.close(name)
		}
	}
}

func (t *trace) close(name string) {
	t.closed = append(t.closed, t.open[name])
	delete(t.open, name)
}

// followDefects closes what an event that is no result has closed.
func (t *trace) followDefects(st *state) {
	for _, v := range st.vehicles {
		for name, d := range v.defects {
			if t.open[name] != nil && d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED {
				t.close(name)
			}
		}
	}
}

// since notes what an event since the horizon speaks of.
func (t *trace) since(ev *pb.JournalEvent) {
	t.later[roundproof.RoundOf(ev)] = true
	t.elsewhere(ev)
	for _, sum := range ev.GetResultRecorded().GetResult().GetPhotos() {
		t.photos[sum] = true
	}
}

// elsewhere notes what an event that took a vehicle over speaks of.
func (t *trace) elsewhere(ev *pb.JournalEvent) {
	var results []*pb.Result
	for _, a := range ev.GetStandingAdopted().GetAnswers() {
		results = append(results, a.GetNewest(), a.GetReal())
	}
	for _, r := range ev.GetStandingAdopted().GetRounds() {
		t.later[r.GetRound().GetName()] = true
		results = append(results, r.GetResults()...)
	}
	for _, res := range results {
		for _, sum := range res.GetPhotos() {
			t.photos[sum] = true
		}
	}
	for _, d := range ev.GetStandingAdopted().GetDefects() {
		for _, sum := range d.GetPhotos() {
			t.photos[sum] = true
		}
	}
}

// keep works out which rounds something rests on, by what is known at the horizon.
func (t *trace) keep(st *state) map[string]bool {
	kept := maps.Clone(t.later)
	for name, v := range st.vehicles {
		for round := range v.rounds {
			kept[round] = true
		}
		for id, a := range v.answers {
			kept[a.Newest.GetRound()], kept[a.Real.GetRound()] = true, true
			kept[v.former[id].result.GetRound()] = true
		}
		for _, u := range v.undone {
			kept[u.GetRound()] = true
		}
		kept[v.happenings.told.GetHandOver().GetRound()] = true
		for _, d := range v.defects {
			if d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED {
				kept[d.GetRound()] = true
			}
		}
		for id, m := range v.measured {
			for _, p := range m.points() {
				for _, round := range t.looks[look{name, id, p.GetLookedAt().AsTime().UnixNano()}] {
					kept[round] = true
				}
			}
		}
	}
	for _, f := range t.open {
		maps.Copy(kept, f.found)
	}
	t.keepClosing(kept)
	return kept
}

// keepClosing keeps the rounds that closed a defect that a kept round has found:
// without them it would be open again.
func (t *trace) keepClosing(kept map[string]bool) {
	for more := true; more; {
		more = false
		for _, f := range t.closed {
			if f.closed == "" || kept[f.closed] {
				continue
			}
			for round := range f.found {
				if kept[round] {
					kept[f.closed], more = true, true
				}
			}
		}
	}
}

// photosOf divides the photos: those that only rounds which are dropped have named,
// and those that something else names. nil keeps all rounds.
func (t *trace) photosOf(kept map[string]bool) (gone, named map[string]bool) {
	gone, named = map[string]bool{}, maps.Clone(t.photos)
	for round, r := range t.rounds {
		for _, sum := range r.photos {
			if kept == nil || kept[round] {
				named[sum] = true
			} else {
				gone[sum] = true
			}
		}
	}
	maps.DeleteFunc(gone, func(sum string, _ bool) bool { return named[sum] })
	return gone, named
}

// saysTheSame tells that what is left says of a vehicle at an instant what the whole
// record says. Since when the verdict holds and older points of a series may differ:
// these are taken up again after the pruning.
func saysTheSame(whole, left *vehicle, at time.Time) bool {
	if left == nil || whole.standing.walk(whole.fold, at).verdict != left.standing.walk(left.fold, at).verdict {
		return false
	}
	return maps.EqualFunc(whole.answers, left.answers, sameAnswers) &&
		maps.EqualFunc(openDefects(whole), openDefects(left), sameLife) &&
		maps.EqualFunc(whole.undone, left.undone, func(a, b *pb.UndoneStep) bool { return proto.Equal(a, b) }) &&
		maps.EqualFunc(whole.former, left.former, func(a, b former) bool { return a.sequence == b.sequence }) &&
		slices.EqualFunc(whole.happenings.told.GetWheels(), left.happenings.told.GetWheels(), func(a, b *pb.WheelFitted) bool { return proto.Equal(a, b) }) &&
		slices.Equal(sortedKeys(whole.rounds), sortedKeys(left.rounds))
}

func sameAnswers(a, b *verdict.Answer) bool {
	return a.Sequence == b.Sequence && a.RealSequence == b.RealSequence && a.RealFits == b.RealFits && a.VoidBefore.Equal(b.VoidBefore)
}

// sameLife compares all of two defects but their earlier lives.
func sameLife(a, b *pb.Defect) bool {
	a, b = proto.CloneOf(a), proto.CloneOf(b)
	a.Earlier, a.Repeats, b.Earlier, b.Repeats = nil, 0, nil, 0
	return proto.Equal(a, b)
}

func openDefects(v *vehicle) map[string]*pb.Defect {
	open := map[string]*pb.Defect{}
	for name, d := range v.defects {
		if d.GetState() != pb.DefectState_DEFECT_STATE_CLOSED {
			open[name] = d
		}
	}
	return open
}
