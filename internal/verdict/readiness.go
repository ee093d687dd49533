package verdict

import (
	"cmp"
	"slices"
	"time"

	pb "bayround/proto/bayround/v1"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// dueInstants is how many instants of becoming due a Readiness names at most.
const dueInstants = 5

// Of returns the whole state of a vehicle at an instant: everything but since,
// sequence and ways_back, which need more than this moment. It shares messages
// with the input.
func Of(in *Input, at time.Time) *pb.Readiness {
	w := newWalk(in.Required, at)
	p := newProver(in, at)
	reasons := gather(in, w, findUnproven(in, p, w))
	verdict := pb.Verdict_VERDICT_FIT
	messages := make([]*pb.Reason, len(reasons))
	for i, r := range reasons {
		verdict = max(verdict, r.verdict)
		messages[i] = r.message
	}
	due, until := dueNext(in, p)
	_, edge := FoldFound(in, at)
	until = sooner(until, edge, at)
	undone, debt := undoneOf(in.Undone, w)
	return &pb.Readiness{
		Vehicle:         in.Vehicle.GetName(),
		CallSign:        in.Vehicle.GetCallSign(),
		Station:         in.Vehicle.GetStation(),
		Verdict:         verdict,
		Until:           timestamp(until),
		Reasons:         messages,
		Restrictions:    restrictions(reasons),
		Capabilities:    capabilities(in.Vehicle, reasons, w),
		OpenDefects:     openDefects(in.Defects, w),
		DueNext:         due,
		ReadinessDebtS:  debt,
		Undone:          undone,
		Rounds:          liveRounds(in.Rounds),
		AsOf:            timestamppb.New(at),
		VehicleRevision: in.Vehicle.GetRevision(),
		RulePacks:       in.Packs,
		CheckedSince:    timestamp(checkedSince(in, p)),
		AnswersTo:       AnswersTo(in.Vehicle, in.Holding),
		Holding:         in.Holding,
	}
}

// dueNext returns when the answers that now prove something go stale, soonest
// first, and the first of those instants; zero when there is none.
func dueNext(in *Input, p prover) (due []*pb.DueStep, until time.Time) {
	type expiry struct {
		at    time.Time
		title string
	}
	var expiries []expiry
	for _, step := range in.Required {
		if cause, edge := p.prove(step); cause == proven {
			expiries = append(expiries, expiry{edge, step.GetTitle()})
		}
	}
	slices.SortStableFunc(expiries, func(a, b expiry) int { return a.at.Compare(b.at) })
	for _, e := range expiries {
		if len(due) > 0 && due[len(due)-1].GetDue().AsTime().Equal(e.at) {
			due[len(due)-1].Steps++
			continue
		}
		if len(due) == dueInstants {
			break
		}
		due = append(due, &pb.DueStep{Due: timestamppb.New(e.at), Steps: 1, Title: e.title})
	}
	if len(expiries) > 0 {
		until = expiries[0].at
	}
	return due, until
}

// checkedSince returns the earliest instant at which a required answer was
// given; zero while a required step proves nothing.
func checkedSince(in *Input, p prover) (since time.Time) {
	for _, step := range in.Required {
		if cause, _ := p.prove(step); cause != proven {
			return time.Time{}
		}
		given := Looked(in.Latest[step.GetStepId()].Real)
		if since.IsZero() || given.Before(since) {
			since = given
		}
	}
	return since
}

// openDefects returns the defects that are not closed as they stand now, worst first.
func openDefects(defects []*pb.Defect, w walk) []*pb.Defect {
	open := slices.DeleteFunc(slices.Clone(defects), isClosed)
	slices.SortFunc(open, w.compareDefects)
	for i, d := range open {
		open[i] = DefectAt(d, w.now)
	}
	return open
}

// undoneOf returns what is undone in walking order, and the readiness debt in seconds.
func undoneOf(undone []*pb.UndoneStep, w walk) (inOrder []*pb.UndoneStep, debtS int32) {
	inOrder = slices.Clone(undone)
	slices.SortFunc(inOrder, func(a, b *pb.UndoneStep) int {
		return cmp.Or(w.compare(a.GetStepId(), b.GetStepId()), cmp.Compare(a.GetRound(), b.GetRound()))
	})
	for _, u := range inOrder {
		debtS += u.GetUndoS()
	}
	return inOrder, debtS
}

// liveRounds returns the rounds that are open or paused, oldest first.
func liveRounds(rounds []*pb.Round) []*pb.Round {
	live := slices.DeleteFunc(slices.Clone(rounds), func(r *pb.Round) bool {
		return r.GetState() != pb.RoundState_ROUND_STATE_OPEN && r.GetState() != pb.RoundState_ROUND_STATE_PAUSED
	})
	slices.SortFunc(live, func(a, b *pb.Round) int {
		return cmp.Or(a.GetOpened().AsTime().Compare(b.GetOpened().AsTime()), cmp.Compare(a.GetName(), b.GetName()))
	})
	return live
}
