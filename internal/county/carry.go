package county

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// hands is how many answers of one round are on their way to the station at once.
const hands = 24

// ids gives ids that follow from the vehicle, the day and the words alone.
func (l *life) ids(e entry) func(words ...string) string {
	key := fmt.Sprintf("bayround:county:%s:%d:%d:", l.vehicle.GetName(), e.ago, e.at)
	if e.visit != nil {
		key = fmt.Sprintf("bayround:county:%s:%d:%s:", l.vehicle.GetName(), e.ago, e.visit.key)
	}
	space := uuid.NewSHA1(uuid.NameSpaceURL, []byte(key))
	return func(words ...string) string {
		return uuid.NewSHA1(space, []byte(strings.Join(words, "\n"))).String()
	}
}

// round is a visit while it is carried out.
type round struct {
	*carrier
	life  *life
	entry entry
	*visit
	id   func(words ...string) string
	name string
	now  time.Time // by the device's clock
	plan *pb.Plan
	with []string        // items that come along
	left map[string]bool // steps at which something is open, where that is left alone
}

// prepare reads what the round is to be: its plan, what comes along, what is open.
func (r *round) prepare(ctx context.Context) error {
	r.plan = r.life.plans[r.routine]
	if !r.usual {
		return nil
	}
	resp, err := r.Station.GetReadiness(ctx, &pb.GetReadinessRequest{Vehicle: r.life.vehicle.GetName()})
	if err != nil {
		return err
	}
	r.left = map[string]bool{}
	for _, d := range resp.GetReadiness().GetOpenDefects() {
		r.left[d.GetStepId()] = true
	}
	if !r.share {
		return nil
	}
	for _, d := range resp.GetReadiness().GetRoutineDues() {
		if d.GetRoutine() == "routines/"+r.routine {
			r.with = d.GetWithItems()
		}
	}
	planned, err := r.Station.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: r.life.vehicle.GetName(), Routine: "routines/" + r.routine, WithItems: r.with})
	r.plan = planned.GetPlan()
	return err
}

// soundly says of a step without an answer of its own that it is answered soundly.
func (r *round) soundly(step *pb.CheckStep) bool {
	if r.share {
		seen := step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION
		return seen && slices.Contains(r.with, step.GetItem()) && !r.left[step.GetStepId()]
	}
	return r.whole || r.usual && !r.left[step.GetStepId()]
}

// visit carries out a round.
func (c *carrier) visit(ctx context.Context, l *life, e entry) error {
	id := l.ids(e)
	r := &round{
		carrier: c, life: l, entry: e, visit: e.visit, id: id, name: "rounds/" + id("round"),
		now: c.midnight.Add(-time.Duration(e.ago) * Day).Add(e.visit.began),
	}
	if err := r.prepare(ctx); err != nil {
		return fmt.Errorf("preparing the round: %w", err)
	}
	answers, err := r.inOrder()
	if err != nil || r.share && len(answers) == 0 {
		return err
	}
	if err := r.open(ctx); err != nil {
		return fmt.Errorf("opening the round: %w", err)
	}
	if err := r.record(ctx, answers); err != nil {
		return err
	}
	if r.turnout != "" {
		return r.pause(ctx)
	}
	_, err = c.Station.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: id("end"), Round: r.name, DeviceTime: timestamppb.New(r.now)})
	return err
}

// open opens the round, or goes on with the one that was interrupted.
func (r *round) open(ctx context.Context) error {
	if r.resumes != "" {
		_, err := r.Station.ResumeRound(ctx, &pb.ResumeRoundRequest{
			RequestId: r.id("resume"), Round: r.name, Conditions: r.conditions, DeviceTime: timestamppb.New(r.now),
		})
		return err
	}
	r.rounds.Add(1)
	_, err := r.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: r.name, Vehicle: r.life.vehicle.GetName(), Routine: "routines/" + r.routine, Driver: r.driver,
		Assistant: r.assistant, Device: r.device, Conditions: r.conditions, DeviceTime: timestamppb.New(r.now), WithItems: r.with,
	})
	return err
}

// pause begins the step at which the turnout comes, interrupts the round and makes
// safe what was begun.
func (r *round) pause(ctx context.Context) error {
	at := timestamppb.New(r.now)
	_, err := r.Station.BeginStep(ctx, &pb.BeginStepRequest{
		RequestId: r.id("begin"), Round: r.name, StepId: r.turnout, ControlTold: true, DeviceTime: at,
	})
	if err != nil {
		return fmt.Errorf("beginning %s: %w", r.turnout, err)
	}
	_, err = r.Station.PauseRound(ctx, &pb.PauseRoundRequest{
		RequestId: r.id("pause"), Round: r.name, Note: "turnout", Turnout: true, DeviceTime: at,
	})
	if err != nil {
		return fmt.Errorf("interrupting the round: %w", err)
	}
	_, err = r.Station.MakeSafe(ctx, &pb.MakeSafeRequest{RequestId: r.id("safe"), Round: r.name, StepIds: []string{r.turnout}, DeviceTime: at})
	return err
}

// inOrder is what is answered, in the order of the plan, everything else soundly
// where the round is a whole one; and says when each was looked at.
func (r *round) inOrder() ([]answer, error) {
	given := map[string]answer{}
	for _, a := range r.answers {
		given[a.step] = a
	}
	var all []answer
	for _, step := range r.plan.GetSteps() {
		a, ok := given[step.GetStepId()]
		delete(given, step.GetStepId())
		if !ok && !r.soundly(step) || r.first > 0 && len(all) == r.first {
			continue
		}
		if !ok {
			result, err := r.life.sound(step, r.visit)
			if err != nil {
				return nil, err
			}
			a = answer{step.GetStepId(), []*pb.Result{result}}
		}
		all = append(all, r.complete(step, a))
	}
	for id := range given {
		return nil, fmt.Errorf("routine %s asks for no %s", r.routine, id)
	}
	return all, nil
}

// complete fills in what the results of a step need beside the answer.
func (r *round) complete(step *pb.CheckStep, a answer) answer {
	done := answer{step: a.step}
	before := ""
	for n, result := range a.results {
		result = proto.CloneOf(result)
		looked := time.Duration(step.GetLeastLookS()+1) * time.Second
		if r.eachTook > 0 {
			looked = r.eachTook
		}
		r.now = r.now.Add(looked)
		result.ResultId = r.id("result", a.step, fmt.Sprint(n))
		result.Person, result.Device = r.driver, r.device
		result.DeviceTime, result.LookedS = timestamppb.New(r.now), looked.Seconds()
		if result.GetCure() != nil {
			result.Cure.FoundResultId = before
		}
		if result.GetReading() != nil || result.GetProfile() != nil {
			result.Gauge = r.gauges[step.GetParts()[0].GetQuantity()]
			if strings.HasPrefix(step.GetItem(), "AMB-") || strings.HasPrefix(step.GetItem(), "BRA-") || strings.HasPrefix(step.GetItem(), "PMP-") {
				result.Gauge = "" // read off the vehicle's own instruments
			}
		}
		before = result.GetResultId()
		done.results = append(done.results, result)
	}
	return done
}

// record sends the answers, several steps at once; the results of one step one
// after the other.
func (r *round) record(ctx context.Context, answers []answer) error {
	var busy sync.WaitGroup
	failed := make([]error, len(answers))
	free := make(chan struct{}, hands)
	for i, a := range answers {
		free <- struct{}{}
		busy.Go(func() {
			defer func() { <-free }()
			for _, result := range a.results {
				if failed[i] = r.send(ctx, result); failed[i] != nil {
					return
				}
			}
		})
	}
	busy.Wait()
	return errors.Join(failed...)
}

// send records one result. An unusual value is confirmed, as a driver does who has
// looked again.
func (r *round) send(ctx context.Context, result *pb.Result) error {
	req := &pb.RecordResultRequest{Round: r.name, Result: result}
	resp, err := r.Station.RecordResult(ctx, req)
	var refused *fault.Fault
	if errors.As(err, &refused) && refused.Reason == "VALUE_NOT_CONFIRMED" {
		result.Confirmed = true
		resp, err = r.Station.RecordResult(ctx, req)
	}
	if err != nil {
		return fmt.Errorf("recording %s: %w", result.GetStepId(), err)
	}
	r.results.Add(1)
	if r.Heard != nil {
		r.Heard(Told{Vehicle: r.life.vehicle.GetName(), Ago: r.entry.ago, Result: result, Findings: resp.GetFindings(), Km: r.conditions.GetOdometerKm(), Hours: r.conditions.GetEngineHours()})
	}
	return nil
}
