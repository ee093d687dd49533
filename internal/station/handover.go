package station

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/verdict"
	pb "bayround/proto/bayround/v1"
)

// GetStanding returns what the verdict about a vehicle rests on now, beside what
// is in force.
func (s *Station) GetStanding(ctx context.Context, req *pb.GetStandingRequest) (*pb.GetStandingResponse, error) {
	p := s.current.Load()
	snap, err := p.vehicle(req.GetVehicle())
	if err != nil {
		return nil, err
	}
	digest, err := p.lib.digest()
	if err != nil {
		return nil, err
	}
	at := s.clock()
	now := snap.at(at).standing
	closed, err := s.closedLately(ctx, req.GetVehicle(), p.sequence, at)
	if err != nil {
		return nil, err
	}
	told := &pb.Standing{
		Vehicle: req.GetVehicle(), Sequence: snap.standing.sequence,
		Answers: answersOf(snap), Defects: byName(append(closed, snap.input.Defects...)),
		Undone:  slices.SortedFunc(slices.Values(snap.input.Undone), func(a, b *pb.UndoneStep) int { return cmp.Compare(a.GetStepId(), b.GetStepId()) }),
		Verdict: now.verdict, Since: timestamppb.New(now.since), Holding: snap.input.Holding, Happenings: snap.happenings.told,
		Registered: timestamppb.New(snap.happenings.since),
	}
	l := loader{journal: s.journal}
	for _, r := range snap.rounds {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		round, err := l.standingRound(r, snap.input.Latest)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", r.name(), err)
		}
		told.Rounds = append(told.Rounds, round)
	}
	slices.SortFunc(told.Rounds, func(a, b *pb.StandingRound) int { return cmp.Compare(a.GetRound().GetName(), b.GetRound().GetName()) })
	return &pb.GetStandingResponse{Standing: told, LibraryDigest: digest}, nil
}

// ClosedToldFor is how long a defect that was closed is still told to tablets: whoever
// reported it reads there what became of it, back from leave too. Source: common practice.
const ClosedToldFor = 60 * 24 * time.Hour

// closedLately are the defects of a vehicle that were closed not long before an instant.
func (s *Station) closedLately(ctx context.Context, vehicle string, sequence int64, at time.Time) (closed []*pb.Defect, err error) {
	err = s.eachDefect(ctx, vehicle, sequence, func(d *pb.Defect) {
		if d.GetState() == pb.DefectState_DEFECT_STATE_CLOSED && at.Sub(d.GetClosed().AsTime()) < ClosedToldFor {
			closed = append(closed, d)
		}
	})
	return closed, err
}

func byName(defects []*pb.Defect) []*pb.Defect {
	return slices.SortedFunc(slices.Values(defects), func(a, b *pb.Defect) int { return cmp.Compare(a.GetName(), b.GetName()) })
}

func answersOf(snap *snapshot) []*pb.StandingAnswer {
	told := make([]*pb.StandingAnswer, 0, len(snap.input.Latest))
	for _, id := range sortedKeys(snap.input.Latest) {
		a := snap.input.Latest[id]
		t := &pb.StandingAnswer{
			StepId: id, Newest: a.Newest, NewestIsReal: a.Real != nil && a.Real == a.Newest,
			Series: snap.measured[id].told(),
		}
		if !t.GetNewestIsReal() {
			t.Real = a.Real
		}
		if !a.VoidBefore.IsZero() {
			t.VoidBefore = timestamppb.New(a.VoidBefore)
		}
		told = append(told, t)
	}
	return told
}

// standingRound tells of a round, of each step the newest results. Most of them
// are the newest of their steps and need not be read.
func (l *loader) standingRound(r progress, latest map[string]*verdict.Answer) (*pb.StandingRound, error) {
	told := &pb.StandingRound{Round: r.message(), Conditions: r.allSaid()}
	left := map[string]int{} // older ones of a step that are left out
	for _, e := range r.entries {
		left[e.stepID]++
	}
	for _, e := range r.entries {
		if left[e.stepID]--; left[e.stepID] >= maxAnswers {
			continue
		}
		res, err := l.resultOf(r.name(), e, latest[e.stepID])
		if err != nil {
			return nil, err
		}
		told.Results = append(told.Results, res)
	}
	return told, nil
}

// resultOf finds the result of an entry; a is what is known of its step now.
func (l *loader) resultOf(round string, e entry, a *verdict.Answer) (*pb.Result, error) {
	if a != nil && a.Newest.GetResultId() == e.resultID {
		return a.Newest, nil
	}
	return l.recorded(round, e.source)
}
