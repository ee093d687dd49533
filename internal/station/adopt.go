package station

import (
	"cmp"
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/emptypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// AdoptStanding takes over what the station of record knows of a vehicle, and
// tells whether anything changed. It must be called only when every command about
// the vehicle that was carried out here has reached the station of record:
// afterwards nothing is known here that is not known there. Results that both
// know stay as they were recorded here. A round that is live here and missing
// there has ended there; unless it is given with its state it becomes given up.
//
// A standing that is too large for one event is taken in parts, each under an id
// of its own that follows from requestID.
func (s *Station) AdoptStanding(ctx context.Context, requestID string, given *pb.Standing) (changed bool, err error) {
	if snap := s.current.Load().vehicles[given.GetVehicle()]; snap != nil {
		for _, r := range given.GetRounds() {
			snap.model.planOf(r.GetRound()) // ordering takes a while: not on the committer
		}
	}
	given = proto.CloneOf(given)
	for i, part := range standingParts(given) {
		_, receipt, err := run(ctx, s, partID(requestID, i), given, func(c *command) (*emptypb.Empty, error) {
			return &emptypb.Empty{}, c.takeOver(part, given)
		})
		if err != nil {
			return changed, err
		}
		changed = changed || receipt.Last > 0
	}
	return changed, nil
}

// standingPart is as much of a standing as one command takes, and everything
// that the commands before it took.
type standingPart struct {
	*pb.Standing
	whole bool
}

// partBytes is how much of a standing one command takes, rows included: an event
// must not have more than the journal stores of one.
const (
	partBytes   = 400_000
	besideBytes = 150 // the row of one answer, defect or result
)

// standingParts divides a standing. It looks at what is given and not at what
// differs, so that a repeat is divided alike.
func standingParts(given *pb.Standing) (parts []standingPart) {
	for limit := partBytes; ; limit += partBytes {
		part := beginningOf(given, limit)
		parts = append(parts, part)
		if part.whole {
			return parts
		}
	}
}

// beginningOf is as much of a standing as has at most so many bytes.
func beginningOf(given *pb.Standing, bytes int) standingPart {
	part := standingPart{Standing: &pb.Standing{
		Vehicle: given.GetVehicle(), Sequence: given.GetSequence(), Undone: given.GetUndone(),
		Verdict: given.GetVerdict(), Since: given.GetSince(), Holding: given.GetHolding(), Happenings: given.GetHappenings(),
		Registered: given.GetRegistered(),
	}}
	fits := func(m proto.Message) bool {
		bytes -= proto.Size(m) + besideBytes
		return bytes >= 0
	}
	for _, d := range given.GetDefects() {
		if !fits(d) {
			return part
		}
		part.Defects = append(part.Defects, d)
	}
	for _, a := range given.GetAnswers() {
		if !fits(a) {
			return part
		}
		part.Answers = append(part.Answers, a)
	}
	for _, r := range given.GetRounds() {
		begun := &pb.StandingRound{Round: r.GetRound(), Conditions: r.GetConditions()}
		part.Rounds = append(part.Rounds, begun)
		for _, res := range r.GetResults() {
			if !fits(res) {
				return part
			}
			begun.Results = append(begun.Results, res)
		}
	}
	part.whole = true
	return part
}

// takeOver lets happen what makes the vehicle known here as it is known there, as
// far as a part of what is given says it.
func (c *command) takeOver(part standingPart, given *pb.Standing) error {
	n, err := c.newsIn(part)
	if err == nil && n != nil && !part.whole {
		var all *news
		if all, err = c.newsIn(standingPart{given, true}); all == nil {
			n = nil // a part of what is known is nothing new
		}
	}
	if err != nil || n == nil {
		return err
	}
	if size := proto.Size(n.Standing); size > maxThingBytes {
		return fault.New(fault.Invalid, "STANDING_TOO_LARGE", "what is new about %s has %d bytes, at most %d can be taken over at once", n.v.name, size, maxThingBytes)
	}
	return c.happen(&pb.JournalEvent{Vehicle: n.v.name, Event: &pb.JournalEvent_StandingAdopted{StandingAdopted: n.Standing}}, nil)
}

// newsIn compares a part of a standing with what is known here; nil when nothing
// in it is new.
func (c *command) newsIn(part standingPart) (*news, error) {
	v := c.state.vehicles[part.GetVehicle()]
	if v == nil {
		return nil, unknown("vehicle", part.GetVehicle())
	}
	n := &news{v: v, part: part, Standing: &pb.Standing{
		Vehicle: v.name, Sequence: part.GetSequence(), Undone: part.GetUndone(), Verdict: part.GetVerdict(), Since: part.GetSince(),
	}}
	if !sameHolding(v.holding, part.GetHolding()) {
		n.Holding = part.GetHolding()
	}
	n.compareAnswers()
	n.compareDefects(timestamppb.New(c.time))
	if err := n.compareRounds(c.state); err != nil {
		return nil, err
	}
	if given := part.GetHappenings(); given != nil && !proto.Equal(given, v.happenings.told) {
		n.Happenings = given
	}
	if at := part.GetRegistered(); at != nil && !at.AsTime().Equal(v.happenings.since) {
		n.Registered = at
	}
	if n.differs() || n.differsUndone() || part.whole && n.differsSince(v.standing.walk(v.fold, c.time)) {
		return n, nil
	}
	return nil, nil
}

// news is what is known of a vehicle there and not here.
type news struct {
	*pb.Standing
	v    *vehicle
	part standingPart
}

// differs tells that there is something beside what is always told whole.
func (n *news) differs() bool {
	return len(n.Answers) > 0 || len(n.Defects) > 0 || len(n.Rounds) > 0 || n.Holding != nil || n.Happenings != nil || n.Registered != nil
}

// compareAnswers picks the answers that differ. Results are told apart by their
// ids: those recorded here have the times of here.
func (n *news) compareAnswers() {
	given := map[string]bool{}
	for _, a := range n.part.GetAnswers() {
		given[a.GetStepId()] = true
		if !sameAnswer(n.v.answers[a.GetStepId()], a) || !proto.Equal(n.v.measured[a.GetStepId()].told(), a.GetSeries()) {
			n.Answers = append(n.Answers, a)
		}
	}
	if n.part.whole {
		for id := range n.v.answers {
			if !given[id] {
				n.Answers = append(n.Answers, &pb.StandingAnswer{StepId: id})
			}
		}
	}
	slices.SortFunc(n.Answers, func(a, b *pb.StandingAnswer) int { return cmp.Compare(a.GetStepId(), b.GetStepId()) })
}

func sameAnswer(here *verdict.Answer, there *pb.StandingAnswer) bool {
	return here != nil && sameResult(here.Newest, there.GetNewest()) && sameResult(here.Real, takenFrom(there, true)) &&
		here.VoidBefore.Equal(voidBefore(there))
}

// sameResult tells two results apart by their ids, and by what each station says
// of the circumstances: a round may have been told other conditions here.
func sameResult(here, there *pb.Result) bool {
	return here.GetResultId() == there.GetResultId() && here.GetGaugeOverdue() == there.GetGaugeOverdue() &&
		(here.GetResultId() == "" || (here.AirCelsius == nil) == (there.AirCelsius == nil)) && here.GetAirCelsius() == there.GetAirCelsius()
}

// compareDefects picks the defects that differ. One that is open here and missing
// there was closed; when, nobody has said, so it is closed now.
func (n *news) compareDefects(now *timestamppb.Timestamp) {
	given := map[string]bool{}
	for _, d := range n.part.GetDefects() {
		given[d.GetName()] = true
		if !sameDefect(n.v.defects[d.GetName()], d) {
			n.Defects = append(n.Defects, d)
		}
	}
	if n.part.whole {
		for name, d := range n.v.defects {
			if given[name] || d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED {
				continue
			}
			closed := proto.CloneOf(d)
			closed.State, closed.Closed = pb.DefectState_DEFECT_STATE_CLOSED, now
			n.Defects = append(n.Defects, closed)
		}
	}
	n.Defects = byName(n.Defects)
}

// sameDefect compares all but the times that every station gives by its own clock.
func sameDefect(here, there *pb.Defect) bool {
	if here == nil {
		return false
	}
	here, there = proto.CloneOf(here), proto.CloneOf(there)
	for _, d := range []*pb.Defect{here, there} {
		d.FirstFound, d.LastFound, d.LastLooked, d.Closed = nil, nil, nil, nil
	}
	return proto.Equal(here, there)
}

func (n *news) differsUndone() bool {
	if len(n.part.GetUndone()) != len(n.v.undone) {
		return true
	}
	return slices.ContainsFunc(n.part.GetUndone(), func(u *pb.UndoneStep) bool { return !proto.Equal(u, n.v.undone[u.GetStepId()]) })
}

// differsSince tells that the verdict is the same and holds since another instant.
// Another verdict from the same knowledge cannot be taken over: it is worked out here.
func (n *news) differsSince(here standing) bool {
	return here.verdict == n.part.GetVerdict() && n.part.GetSince() != nil && !here.since.Equal(n.part.GetSince().AsTime())
}

// compareRounds picks the rounds that differ.
func (n *news) compareRounds(st *state) error {
	given := map[string]bool{}
	for _, r := range n.part.GetRounds() {
		name := r.GetRound().GetName()
		given[name] = true
		here, err := st.recall(name)
		if err != nil {
			return err
		}
		if r.GetRound().GetVehicle() != n.v.name || here != nil && here.vehicle() != n.v.name {
			return fault.New(fault.Invalid, "ROUND_OF_ANOTHER_VEHICLE", "%s is not a round of %s", name, n.v.name)
		}
		if !here.same(r) {
			n.Rounds = append(n.Rounds, n.told(r, here))
		}
	}
	if n.part.whole {
		for name, r := range n.v.rounds {
			if !given[name] {
				n.Rounds = append(n.Rounds, r.endedThere())
			}
		}
	}
	slices.SortFunc(n.Rounds, func(a, b *pb.StandingRound) int { return cmp.Compare(a.GetRound().GetName(), b.GetRound().GetName()) })
	return nil
}

// same tells that a round stands as it does there; r is nil when it is not known here.
func (r *round) same(there *pb.StandingRound) bool {
	if r == nil || !proto.Equal(timeless(r.round), timeless(there.GetRound())) || changedSince(there, r.changed) ||
		!slices.Equal(r.progress().message().GetAnsweredSteps(), there.GetRound().GetAnsweredSteps()) ||
		!slices.EqualFunc(r.allSaid(), there.GetConditions(), func(a, b *pb.RoundConditions) bool { return proto.Equal(a, b) }) {
		return false
	}
	ids := map[string][]string{}
	for _, res := range there.GetResults() {
		ids[res.GetStepId()] = append(ids[res.GetStepId()], res.GetResultId())
	}
	for step, given := range ids {
		if !slices.EqualFunc(r.of(step), given[max(0, len(given)-maxAnswers):], func(e entry, id string) bool { return e.resultID == id }) {
			return false
		}
	}
	return true
}

// timeless is a round without its progress and without the times that every
// station gives it by its own clock.
func timeless(r *pb.Round) *pb.Round {
	r = withoutProgress(r)
	r.Opened, r.LastActivity = nil, nil
	return r
}

// changedSince tells that a round has changed its state there at another instant,
// as far as can be seen: when a result came last, only that is told.
func changedSince(there *pb.StandingRound, changed time.Time) bool {
	last := there.GetRound().GetLastActivity().AsTime()
	return !last.Equal(changed) && !slices.ContainsFunc(there.GetResults(), func(res *pb.Result) bool {
		return !res.GetStationTime().AsTime().Before(last)
	})
}

// told is a round as an event tells it: an empty result for all those known here
// when what is new comes after them, otherwise all of them in order, with the id
// alone of one that is known here.
func (n *news) told(there *pb.StandingRound, here *round) *pb.StandingRound {
	told := &pb.StandingRound{Round: there.GetRound(), Conditions: there.GetConditions(), Results: there.GetResults()}
	if !n.v.standsIn(there.GetRound(), here) {
		told.Round = withoutProgress(there.GetRound())
	}
	if here == nil {
		return told
	}
	if added, after := here.continued(there.GetResults()); after {
		told.Results = append([]*pb.Result{{}}, added...)
		return told
	}
	known := here.byResult()
	told.Results = slices.Clone(told.Results)
	for i, res := range told.Results {
		if _, here := known[res.GetResultId()]; here {
			told.Results[i] = &pb.Result{ResultId: res.GetResultId()}
		}
	}
	return told
}

// standsIn tells that a round that is taken over was opened on a plan that is
// not known here, so that the order of its answered steps must be told.
func (v *vehicle) standsIn(there *pb.Round, here *round) bool {
	if here != nil && here.onPlanOf(there) {
		return false
	}
	return v.model.planOf(there).GetDigest() != there.GetPlanDigest()
}

// continued picks the results that are not known here; false when they do not
// all come after those that are.
func (r *round) continued(there []*pb.Result) (added []*pb.Result, after bool) {
	met := map[string]int{}
	for _, res := range there {
		places, i := r.byStep[res.GetStepId()], met[res.GetStepId()]
		met[res.GetStepId()]++
		if i >= len(places) {
			added = append(added, res)
		} else if r.entries[places[i]].resultID != res.GetResultId() {
			return nil, false
		}
	}
	for step, places := range r.byStep {
		if met[step] < len(places) {
			return nil, false
		}
	}
	return added, true
}

// endedThere is a round that is live here and has ended there, nobody has said how.
func (r *round) endedThere() *pb.StandingRound {
	told := &pb.StandingRound{Round: r.progress().message(), Conditions: r.allSaid(), Results: []*pb.Result{{}}}
	told.Round.State = pb.RoundState_ROUND_STATE_GIVEN_UP
	return told
}
