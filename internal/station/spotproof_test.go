package station

import (
	"fmt"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

// drawRounds chooses spot proofs for many rounds on a plan.
func drawRounds(p *pb.Plan, rounds int) (drawn [][]*pb.SpotProof) {
	for i := range rounds {
		drawn = append(drawn, spotProofs(fmt.Sprintf("rounds/00000000-0000-4000-8000-%012d", i), p))
	}
	return drawn
}

// On every vehicle of the demo county: at most three, only where something is
// printed, in the plan's order, and where they are asked for changes from round
// to round until every such step has been asked at.
func TestSpotProofs_OfTrueVehicles(t *testing.T) {
	t.Parallel()
	lib := demoLibrary(t)
	for _, name := range sortedKeys(lib.models) {
		p := lib.models[name].plan("routines/shift", nil)
		var marked, order []string
		for _, s := range p.GetSteps() {
			order = append(order, s.GetStepId())
			if markOf(s) != "" {
				marked = append(marked, s.GetStepId())
			}
			if s.GetTwin() == pb.TwinPosition_TWIN_POSITION_INNER && markOf(s) != "" {
				t.Errorf("%s: asked at %s, which cannot be read", name, s.GetStepId())
			}
		}
		if lib.models[name].vehicle.GetPowerTrain() != pb.PowerTrain_POWER_TRAIN_NONE && len(marked) < 2*maxProofs {
			t.Errorf("%s: something is printed at %v alone; that can be foretold", name, marked)
		}
		asked := map[string]int{}
		for _, proofs := range drawRounds(p, 300) {
			if len(proofs) > maxProofs {
				t.Fatalf("%s: %d proofs in one round", name, len(proofs))
			}
			last := -1
			for _, proof := range proofs {
				at := slices.Index(order, proof.GetStepId())
				if at <= last || proof.GetQuestion() == "" {
					t.Fatalf("%s: %v are not in the plan's order, each once, with a question", name, proofs)
				}
				asked[proof.GetStepId()]++
				last = at
			}
		}
		if got := sortedKeys(asked); !slices.Equal(got, slices.Sorted(slices.Values(marked))) {
			t.Errorf("%s: asked at %v, something is printed at %v", name, got, marked)
		}
	}
}

// About one in forty steps is asked at, however long the plan is, up to three.
func TestSpotProofs_OneInForty(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		steps int
		want  float64 // proofs a round on average
	}{{0, 0}, {10, 0.25}, {40, 1}, {60, 1.5}, {100, 2.5}, {120, 3}, {200, 3}} {
		p := &pb.Plan{}
		for i := range tc.steps {
			p.Steps = append(p.Steps, &pb.CheckStep{StepId: fmt.Sprintf("TYR-010/%d", i), Family: "Tyres"})
		}
		const rounds = 1000
		total := 0
		for _, proofs := range drawRounds(p, rounds) {
			total += len(proofs)
		}
		// The names are fixed, so this is no matter of luck; it is four standard
		// errors of the share that is left to chance.
		if got := float64(total) / rounds; got < tc.want-0.06 || got > tc.want+0.06 {
			t.Errorf("%d steps: %.3f proofs a round, want %.2f", tc.steps, got, tc.want)
		}
	}
}

// The same round on the same plan is asked the same; another round is not.
func TestSpotProofs_FollowFromTheRound(t *testing.T) {
	p := demoLibrary(t).models["vehicles/wn11"].plan("routines/shift", nil)
	first, again := drawRounds(p, 50), drawRounds(p, 50)
	different := 0
	for i := range first {
		same := func(a, b *pb.SpotProof) bool { return proto.Equal(a, b) }
		if !slices.EqualFunc(first[i], again[i], same) {
			t.Errorf("round %d: %v and then %v", i, first[i], again[i])
		}
		if !slices.EqualFunc(first[i], first[(i+1)%len(first)], same) {
			different++
		}
	}
	if different < 40 {
		t.Errorf("only %d of %d rounds were asked otherwise than the next", different, len(first))
	}
}
