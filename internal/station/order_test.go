package station_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// In whatever order results of different steps arrive, the same is known in
// the end.
func TestOrderOfArrivalDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		k := stationtest.Open(t)
		defer k.Close()
		p := &play{rt: rt}
		var results []*pb.Result
		for _, step := range k.Plan(p2, shift).GetSteps() {
			r := p.answer(step)
			r.Confirmed = true
			results = append(results, r)
		}
		shuffled := rapid.Permutation(results).Draw(rt, "order")
		// Two vehicles that are alike but for their required routines would
		// differ in that; so one vehicle is checked at two stations.
		other := stationtest.Open(t)
		defer other.Close()
		for i, round := range []string{k.OpenRound(p2, shift), other.OpenRound(p2, shift)} {
			kit, order := []*stationtest.Kit{k, other}[i], [][]*pb.Result{results, shuffled}[i]
			for _, r := range order {
				kit.Record(round, r)
			}
			kit.Clock.Advance(time.Minute)
		}
		want, got := timeless(k.Readiness(p2)), timeless(other.Readiness(p2))
		if d := diff(want, got); d != "" {
			rt.Fatalf("arrived in the plan's order: -, shuffled: +\n%s", d)
		}
	})
}

// In whatever order several results of one step arrive, the newest look is what
// is shown and what groups are judged by.
func TestOrderOfArrivalOfOneStepDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		p := &play{rt: rt}
		var results []*pb.Result
		k, other := stationtest.Open(t), stationtest.Open(t)
		defer k.Close()
		defer other.Close()
		steps := map[string]*pb.CheckStep{}
		for _, step := range k.Plan(p2, shift).GetSteps() {
			steps[step.GetStepId()] = step
		}
		for i := range rapid.IntRange(2, 8).Draw(rt, "results") {
			r := p.answer(steps[rapid.SampledFrom([]string{outer, inner, oil}).Draw(rt, "step")])
			r.Confirmed, r.ResultId = true, fmt.Sprintf("33333333-0000-4000-8000-%012d", i)
			r.DeviceTime = timestamppb.New(stationtest.Morning.Add(-time.Duration(i) * time.Second))
			results = append(results, r)
		}
		shuffled := rapid.Permutation(results).Draw(rt, "order")
		for i, round := range []string{k.OpenRound(p2, shift), other.OpenRound(p2, shift)} {
			kit, order := []*stationtest.Kit{k, other}[i], [][]*pb.Result{results, shuffled}[i]
			for _, r := range order {
				kit.Record(round, r)
			}
		}
		if d := cmp.Diff(known(k), known(other), protocmp.Transform()); d != "" {
			rt.Fatalf("newest first: -, shuffled: +\n%s", d)
		}
	})
}

// known is what a station shows of each step of a vehicle, without when, and
// what its rules say of groups.
func known(k *stationtest.Kit) (all []proto.Message) {
	for _, step := range k.Plan(p2, shift).GetSteps() {
		last := proto.CloneOf(step.GetLast())
		clearTimes(last.ProtoReflect())
		all = append(all, last)
	}
	for _, r := range k.Readiness(p2).GetReasons() {
		if r.GetFinding().GetScope() == pb.RuleScope_RULE_SCOPE_GROUP {
			all = append(all, r)
		}
	}
	return all
}

// timeless is a readiness without what tells when and under which id results came.
func timeless(r *pb.Readiness) *pb.Readiness {
	r = proto.CloneOf(r)
	clearTimes(r.ProtoReflect())
	r.Sequence, r.DueNext = 0, nil
	for _, round := range r.GetRounds() {
		round.Sequence = 0
	}
	return r
}

// clearTimes takes away every time and every result id.
func clearTimes(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.Name() == "result_ids", f.Message() != nil && f.Message().FullName() == "google.protobuf.Timestamp":
			m.Clear(f)
		case f.IsMap(), f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				clearTimes(v.List().Get(i).Message())
			}
		default:
			clearTimes(v.Message())
		}
		return true
	})
}
