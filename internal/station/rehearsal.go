package station

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// rehearsal goes through the record twice at once: as it was, and as it would have
// been had something else been in force or been read. Nothing of it is kept, and
// it belongs to the goroutine that goes through: readers and writers of the
// station are not held up.
type rehearsal struct {
	station    *Station
	was, would *state
	archive    *pastArchive
	// read tells what would have been read; nil for what was. It returns another
	// result or the same.
	read func(step *pb.CheckStep, r *pb.Result) *pb.Result
	tell func(*pb.VerdictChange) error

	told map[string]string // the difference that was told last, by vehicle
	done pb.Rejudged
}

// pastArchive is where the states of a rehearsal find rounds that have ended:
// rounds are the same whatever would have been.
type pastArchive struct {
	station *Station
	state   *state
	at      int64 // event before the one that is applied
}

func (a *pastArchive) round(name string) (*round, error) {
	if a.at == 0 {
		return nil, nil
	}
	l := loader{journal: a.station.journal, at: uint64(a.at)}
	uuid := strings.TrimPrefix(name, "rounds/")
	f, _, err := l.frame(uuid)
	if f == nil || err != nil {
		return nil, err
	}
	v := a.state.vehicles[f.vehicle()]
	if v == nil {
		return nil, unreadable(name, errEvent)
	}
	return l.round(context.Background(), uuid, v.model, a.state.lib)
}

func (a *pastArchive) result(sequence int64, stepID string) (*pb.Result, error) {
	l := loader{journal: a.station.journal}
	return l.result(sequence, stepID, true)
}

// newRehearsal begins right after an event; 0 is before the first one. What lies before
// the horizon of a pruning cannot be gone through again. instead changes what is
// in force in what would have been.
func (s *Station) newRehearsal(ctx context.Context, from int64, instead func(*draft)) (*rehearsal, error) {
	from = max(from, int64(s.journal.Horizon()))
	r := &rehearsal{station: s, archive: &pastArchive{station: s, at: from}, told: map[string]string{}}
	r.was, r.would = newState(r.archive), newState(r.archive)
	r.archive.state, r.would.supposed = r.was, true
	for _, st := range []*state{r.was, r.would} {
		if from == 0 {
			continue
		}
		l := loader{journal: s.journal, at: uint64(from)}
		st.lib = s.current.Load().lib // what is the same is not compiled again
		if err := l.state(ctx, st); err != nil {
			return nil, err
		}
	}
	r.would.instead = instead
	if from > 0 {
		r.would.draft = r.would.lib.draft()
		if err := r.would.adopt(r.would.completed(), &rowSet{none: true}); err != nil {
			return nil, err
		}
	}
	r.clear()
	return r, nil
}

// run goes through the record from after an event to its end as it is now.
func (r *rehearsal) run(ctx context.Context, tell func(*pb.VerdictChange) error) (*pb.Rejudged, error) {
	r.tell = tell
	err := r.station.journal.Events(ctx, uint64(r.was.sequence)+1, func(sequence uint64, record []byte) error {
		if isClosed(r.station.closing) {
			return stopping()
		}
		ev, err := parseEvent(sequence, record)
		if err != nil {
			return err
		}
		return r.event(ev)
	})
	return &r.done, err
}

// event applies an event to both states and compares the vehicles it changes.
func (r *rehearsal) event(ev *pb.JournalEvent) error {
	r.done.Events++
	r.archive.at = ev.GetSequence() - 1
	last := true
	if isConfiguration(ev) {
		var err error
		p := replay{journal: r.station.journal}
		if last, err = p.last(uint64(ev.GetSequence()), ev.GetCommandId()); err != nil {
			return err
		}
	}
	other, known, err := r.otherwise(ev)
	if err != nil {
		return err
	}
	if err := r.was.apply(ev, nil, last, &rowSet{none: true}); err != nil {
		return unreadable("the history", err)
	}
	if err := r.would.apply(other, known, last, &rowSet{none: true}); err != nil {
		return unreadable("the history", err)
	}
	return r.compare(ev)
}

// otherwise is an event as it would have been: a result as it would have been read
// and judged.
func (r *rehearsal) otherwise(ev *pb.JournalEvent) (*pb.JournalEvent, *judgement, error) {
	e := ev.GetResultRecorded()
	if e == nil || e.GetResult().GetNotChecked() != nil {
		return ev, nil, nil
	}
	st, res := r.would, proto.CloneOf(e.GetResult())
	rd, err := st.recall(res.GetRound())
	v := st.vehicles[ev.GetVehicle()]
	if err != nil || rd == nil || v == nil {
		return ev, nil, err // apply says what is wrong
	}
	x := &examined{frame: rd.frame, lib: st.lib, result: res, stands: true}
	if x.place(rd.plan.steps[res.GetStepId()]); x.judged.CheckStep == nil {
		return ev, nil, nil
	}
	if r.read != nil {
		x.result = r.read(x.judged.CheckStep, res)
	}
	if r.read == nil || x.result != res {
		r.done.Results++
	}
	x.look(v.knownOf(res.GetStepId()), verdict.Looked(res))
	var known *judgement
	if x.fits && v.speaks(x.result) {
		known = v.judge(x.judged, x.observation, x.single)
	}
	found := x.findings(v, known)
	if !slices.Equal(keysOf(found), keysOf(e.GetFindings())) {
		r.done.Differing++
	}
	return &pb.JournalEvent{
		Sequence: ev.GetSequence(), CommandId: ev.GetCommandId(), StationTime: ev.GetStationTime(), Person: ev.GetPerson(),
		Device: ev.GetDevice(), Vehicle: ev.GetVehicle(), Schema: ev.GetSchema(), DeviceTime: ev.GetDeviceTime(),
		Event: &pb.JournalEvent_ResultRecorded{ResultRecorded: &pb.ResultRecorded{Result: x.result, Findings: found}},
	}, known, nil
}

// keyOfFinding tells findings apart by what they mean, not by the numbers in them.
func keyOfFinding(f *pb.Finding) string {
	return fmt.Sprintf("%s %d %d", f.GetFindingId(), f.GetEffect(), f.GetGrade())
}

func keysOf(findings []*pb.Finding) []string {
	keys := make([]string, len(findings))
	for i, f := range findings {
		keys[i] = keyOfFinding(f)
	}
	slices.Sort(keys)
	return keys
}

// compare tells of vehicles that an event changed where their verdict would have
// been another, once for as long as the difference stays the same.
func (r *rehearsal) compare(ev *pb.JournalEvent) error {
	at := ev.GetStationTime()
	if res := ev.GetResultRecorded().GetResult(); res != nil {
		at = timestamppb.New(verdict.Looked(res))
	}
	names := map[string]bool{}
	for _, st := range []*state{r.was, r.would} {
		for name := range st.changed {
			names[name] = true
		}
	}
	defer r.clear()
	for _, name := range sortedKeys(names) {
		was, would := r.was.vehicles[name], r.would.vehicles[name]
		if was == nil || would == nil || was.standing.verdict == would.standing.verdict {
			delete(r.told, name)
			continue
		}
		change := &pb.VerdictChange{
			Vehicle: name, At: at, Sequence: ev.GetSequence(), Was: was.standing.verdict, WouldBe: would.standing.verdict,
			Come: without(would.allFindings(), was.allFindings()), Gone: without(was.allFindings(), would.allFindings()),
		}
		key := fmt.Sprint(change.GetWas(), change.GetWouldBe(), keysOf(change.GetCome()), keysOf(change.GetGone()))
		if r.told[name] == key {
			continue
		}
		r.told[name] = key
		if err := r.tell(change); err != nil {
			return err
		}
	}
	return nil
}

// allFindings are those of now and those that open defects hold.
func (v *vehicle) allFindings() []*pb.Finding {
	in := v.input()
	all := slices.Clone(in.Findings)
	for _, d := range in.Defects {
		all = append(all, d.GetFindings()...)
	}
	return all
}

// without are the findings that are not among others, each once, worst first.
func without(findings, others []*pb.Finding) []*pb.Finding {
	known := map[string]bool{}
	for _, f := range others {
		known[keyOfFinding(f)] = true
	}
	var left []*pb.Finding
	for _, f := range findings {
		if key := keyOfFinding(f); !known[key] {
			known[key] = true
			left = append(left, f)
		}
	}
	slices.SortStableFunc(left, func(a, b *pb.Finding) int {
		return cmp.Or(-cmp.Compare(a.GetEffect(), b.GetEffect()), -cmp.Compare(a.GetGrade(), b.GetGrade()))
	})
	return left
}

// clear forgets what is needed no more.
func (r *rehearsal) clear() {
	for _, st := range []*state{r.was, r.would} {
		clear(st.changed)
		st.opened, st.reframed = nil, false
		clear(st.unsigned)
		st.forget()
	}
}
