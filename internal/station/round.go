package station

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"bayround/internal/signature"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// frame is what is fixed about a round until its state or conditions change.
// It never changes; any number of goroutines may use it.
type frame struct {
	round         *pb.Round              // without progress; never handed out
	opening       int64                  // sequence of its opening
	changed       time.Time              // when it was opened or last changed its state
	changedDevice *timestamppb.Timestamp // when it last changed its state, by the device's clock; nil when it did not, or the device did not say
	said          []statement            // of the circumstances, each time, in the order it came
	plan          *outline
	planned       int64 // sequence of the event that took it over with its plan; 0 when it was opened here
}

func (f *frame) name() string         { return f.round.GetName() }
func (f *frame) vehicle() string      { return f.round.GetVehicle() }
func (f *frame) state() pb.RoundState { return f.round.GetState() }

// ref is the frame's line in lists of rounds.
func (f *frame) ref() roundRef {
	return roundRef{name: f.name(), vehicle: f.vehicle(), opening: f.opening}
}

// ended tells that nothing more is done in the round.
func (f *frame) ended() bool {
	return f.state() == pb.RoundState_ROUND_STATE_FINISHED || f.state() == pb.RoundState_ROUND_STATE_GIVEN_UP
}

// live tells that the round is open or paused.
func (f *frame) live() bool { return !f.ended() }

// in returns the frame in another state, since an instant by the station's clock
// and by the device's.
func (f *frame) in(state pb.RoundState, at time.Time, device *timestamppb.Timestamp) *frame {
	g := *f
	g.round = proto.CloneOf(f.round)
	g.round.State = state
	g.changed, g.changedDevice = at, device
	return &g
}

// under returns the frame with conditions given anew.
func (f *frame) under(s statement) *frame {
	g := *f
	g.said = append(slices.Clone(f.said), s)
	return &g
}

// engineStopped returns when the engine had last stopped before an instant, as
// far as anybody has said.
func (f *frame) engineStopped(before time.Time) (time.Time, bool) {
	for _, s := range slices.Backward(f.said) {
		if s.conditions.GetEngineStopped() == nil {
			continue
		}
		if t := s.conditions.GetEngineStopped().AsTime(); !t.After(before) {
			return t, true
		}
	}
	return time.Time{}, false
}

// outline is the steps of a round's plan as it was opened.
type outline struct {
	steps     map[string]*pb.CheckStep
	positions map[string]int
	standsIn  bool // for a plan that a twin has no configuration for
}

func newOutline(p *pb.Plan) *outline {
	o := &outline{steps: make(map[string]*pb.CheckStep, len(p.GetSteps())), positions: make(map[string]int, len(p.GetSteps()))}
	for i, s := range p.GetSteps() {
		o.steps[s.GetStepId()], o.positions[s.GetStepId()] = s, i
	}
	return o
}

// round is a round and how far it has come. It belongs to whoever made it, as
// a vehicle does.
type round struct {
	*frame
	newest  int64            // sequence of its newest event that is no result
	entries []entry          // results in the order they came; only ever appended to
	byStep  map[string][]int // places in entries, oldest first
}

// source says where a result stands: in the event that recorded it, or among the
// results of its round in an event that took it over.
type source struct {
	sequence int64
	place    int // from 1; 0 when the event recorded it
}

// entry is a result as its round sees it.
type entry struct {
	source
	stepID     string
	resultID   string
	person     string
	position   int // of the step in the plan
	notChecked bool
	at         time.Time
	sha256     []byte // of the result as it was given; nil where only its place is known
}

// maxAnswers is how many results of one step a row of a round remembers, to
// see that a cure or a correction speaks of one of them, and for signatures.
const maxAnswers = signature.MostOfStep

func newRound(f *frame) *round {
	return &round{frame: f, byStep: map[string][]int{}}
}

// take adds a result.
func (r *round) take(res *pb.Result, from source, at time.Time) entry {
	id := res.GetStepId()
	return r.put(entry{
		source: from, stepID: id, resultID: res.GetResultId(), person: res.GetPerson(), position: r.plan.positions[id],
		notChecked: res.GetNotChecked() != nil, at: at, sha256: signature.OfResult(res),
	})
}

func (r *round) put(e entry) entry {
	r.byStep[e.stepID] = append(r.byStep[e.stepID], len(r.entries))
	r.entries = append(r.entries, e)
	return e
}

// of returns the newest results of a step, oldest first.
func (r *round) of(stepID string) []entry {
	places := r.byStep[stepID]
	places = places[max(0, len(places)-maxAnswers):]
	found := make([]entry, len(places))
	for i, place := range places {
		found[i] = r.entries[place]
	}
	return found
}

// progress is a round as readers see it.
type progress struct {
	*frame
	newest  int64
	entries []entry
}

// last is the sequence of its newest event.
func (r *round) last() int64 {
	newest := r.newest
	for _, e := range r.entries {
		newest = max(newest, e.sequence)
	}
	return newest
}

func (r *round) progress() progress { return progress{r.frame, r.newest, r.entries} }

// message makes the round with its progress.
func (p progress) message() *pb.Round {
	m := proto.CloneOf(p.round)
	last, sequence := p.changed, p.newest
	byStep := make(map[string]entry, len(p.entries))
	for _, e := range p.entries {
		byStep[e.stepID] = e
		sequence = max(sequence, e.sequence)
		if e.at.After(last) {
			last = e.at
		}
	}
	answered := slices.SortedFunc(maps.Values(byStep), func(a, b entry) int {
		return cmp.Or(cmp.Compare(a.position, b.position), cmp.Compare(a.stepID, b.stepID))
	})
	for _, e := range answered {
		m.AnsweredSteps = append(m.AnsweredSteps, e.stepID)
		if e.notChecked {
			m.NotChecked++
		}
	}
	m.Answered = int32(len(answered))
	m.LastActivity = timestamppb.New(last)
	m.Sequence = sequence
	return m
}
