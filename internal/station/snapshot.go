package station

import (
	"maps"
	"slices"
	"sync"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// snapshot is one vehicle as readers see it: durable, and never changed after.
type snapshot struct {
	model      *model
	input      verdict.Input // without rounds, which few readers need
	rounds     []progress    // open and paused
	islands    map[int]*island
	measured   map[string]*measured
	standing   standing // right after the newest event
	happenings happenings
	doubts     *doubts // what is held against the record now; nil in the past

	mu   sync.Mutex
	view *view // guarded by mu: the newest one asked for
}

// view is what a snapshot says during a time in which nothing changes by
// itself. It is the unit of which watchers see the newest.
type view struct {
	snapshot *snapshot
	standing standing
	doubt    *pb.RecordDoubt // in the record; nil for none
	dues     []*pb.RoutineDue
	changes  time.Time // when the first of the dues changes by itself; zero when none does

	once      sync.Once
	readiness *pb.Readiness              // set within once; never changed after, shared by all
	message   *pb.WatchReadinessResponse // set within once; holds readiness
}

// snapshot freezes the vehicle.
func (v *vehicle) snapshot() *snapshot {
	in := v.input()
	in.Latest = maps.Clone(v.answers)
	s := &snapshot{
		model: v.model, input: *in, islands: maps.Clone(v.islands), measured: maps.Clone(v.measured), standing: v.standing, happenings: v.happenings,
		rounds: make([]progress, 0, len(v.rounds)),
	}
	for _, r := range v.rounds {
		s.rounds = append(s.rounds, r.progress())
	}
	return s
}

// at returns the view that holds at an instant. A view once given is never
// followed by an earlier one, whatever the clock does.
func (s *snapshot) at(now time.Time) *view {
	s.mu.Lock()
	defer s.mu.Unlock()
	var doubt *pb.RecordDoubt
	if s.doubts != nil {
		doubt = s.doubts.worst.Load() // under the lock, so that an older one never follows a newer
	}
	if s.view == nil {
		s.view = s.seen(s.standing, doubt, now)
	}
	if until := s.view.standing.until; !until.IsZero() && !until.After(now) {
		s.view = s.seen(s.view.standing.walk(s.fold, now), doubt, now)
	}
	if changes := s.view.changes; s.view.doubt != doubt || !changes.IsZero() && !changes.After(now) {
		s.view = s.seen(s.view.standing, doubt, now)
	}
	return s.view
}

// seen is a view from an instant on.
func (s *snapshot) seen(st standing, doubt *pb.RecordDoubt, now time.Time) *view {
	w := &view{snapshot: s, standing: st, doubt: doubt}
	w.dues, w.changes = s.dues(later(now, st.at))
	w.dues = slices.DeleteFunc(w.dues, func(d *pb.RoutineDue) bool { return d.GetState() == pb.DueState_DUE_STATE_QUIET })
	return w
}

func (s *snapshot) fold(at time.Time) (pb.Verdict, time.Time) { return verdict.Fold(&s.input, at) }

// get returns the readiness, worked out once, and the message that carries it
// to watchers. Both are shared and must not be changed. now is when it is
// asked for; it must lie within the view.
func (w *view) get(now time.Time) (*pb.Readiness, *pb.WatchReadinessResponse) {
	w.once.Do(func() {
		w.readiness = w.snapshot.readiness(w.standing, w.doubt, later(now, w.standing.at))
		w.readiness.RoutineDues, w.readiness.HandOver = w.dues, w.snapshot.happenings.told.GetHandOver()
		w.message = &pb.WatchReadinessResponse{Message: &pb.WatchReadinessResponse_Readiness{Readiness: w.readiness}}
	})
	return w.readiness, w.message
}

// asOf returns the readiness as of an instant within the view.
func (w *view) asOf(now time.Time) *pb.Readiness {
	shared, _ := w.get(now)
	r := shallow(shared)
	r.AsOf = timestamppb.New(later(now, w.standing.at))
	return r
}

// readiness works out the whole state for an instant.
func (s *snapshot) readiness(st standing, doubt *pb.RecordDoubt, at time.Time) *pb.Readiness {
	in := s.input
	in.Record = doubt
	for _, p := range s.rounds {
		in.Rounds = append(in.Rounds, p.message())
	}
	r := verdict.Of(&in, at)
	r.Since = sinceWhen(r.GetVerdict(), st, doubt)
	r.Sequence = s.standing.sequence
	r.WaysBack = verdict.WaysBack(&in, at, s.groupsIfSound)
	return r
}

// groupsIfSound are the findings about groups as if some steps had been
// answered soundly.
func (s *snapshot) groupsIfSound(sound map[string]bool) []*pb.Finding {
	findings := append([]*pb.Finding(nil), s.model.broken...)
	for _, number := range sortedKeys(s.islands) {
		i := s.islands[number]
		os, changed := soundly(i.observations, sound)
		if !changed {
			findings = append(findings, i.findings...)
			continue
		}
		findings = append(findings, s.model.group(os)...)
	}
	return findings
}

// soundly returns observations with some steps answered soundly.
func soundly(os []*pb.Observation, sound map[string]bool) (with []*pb.Observation, changed bool) {
	with = make([]*pb.Observation, 0, len(os))
	for _, o := range os {
		if !sound[o.GetStep().GetStepId()] {
			with = append(with, o)
			continue
		}
		changed = true
		if o = soundOf(o); o != nil {
			with = append(with, o)
		}
	}
	return with, changed
}

// soundOf makes up a sound observation: no fault, the value aimed at, a full
// level. Where nobody can say what would be sound, nil: the step then takes no
// part in its groups.
func soundOf(o *pb.Observation) *pb.Observation {
	s := &pb.Observation{Step: o.GetStep(), Result: o.GetResult()}
	switch o.GetStep().GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_CONDITION:
		s.Of = o.GetOf()
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		s.HasLevel, s.Level = true, 1
	case pb.AnswerKind_ANSWER_KIND_READING:
		if !o.GetHasTarget() || len(o.GetStep().GetParts()) != 1 {
			return nil
		}
		s.HasTarget, s.Target = true, o.GetTarget()
		s.HasValue, s.Value, s.ShareOfTarget = true, o.GetTarget(), 1
		s.Values = map[string]float64{o.GetStep().GetParts()[0].GetId(): o.GetTarget()}
	default:
		return nil
	}
	return s
}

// shallow copies a readiness; what it holds is shared.
func shallow(r *pb.Readiness) *pb.Readiness {
	return &pb.Readiness{
		Vehicle: r.Vehicle, CallSign: r.CallSign, Station: r.Station, Verdict: r.Verdict,
		Since: r.Since, Until: r.Until, Reasons: r.Reasons, Restrictions: r.Restrictions,
		Capabilities: r.Capabilities, OpenDefects: r.OpenDefects, DueNext: r.DueNext,
		ReadinessDebtS: r.ReadinessDebtS, Undone: r.Undone, Rounds: r.Rounds, WaysBack: r.WaysBack,
		AsOf: r.AsOf, Sequence: r.Sequence, VehicleRevision: r.VehicleRevision,
		RulePacks: r.RulePacks, CheckedSince: r.CheckedSince, AnswersTo: r.AnswersTo, Holding: r.Holding, RoutineDues: r.RoutineDues, HandOver: r.HandOver,
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
