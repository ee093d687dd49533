package round

import (
	"slices"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// Where the walk broke off is told by the record alone; in doubt it is every place where
// it may have, for what is asked twice costs seconds, and what is never asked may kill.
func TestRunsTold_InDoubtIsEveryStopThatIsPartlyDone(t *testing.T) {
	var steps []*pb.CheckStep
	for _, id := range []string{"a1", "a2", "b1", "b2", "c1", "c2", "d1"} {
		steps = append(steps, &pb.CheckStep{StepId: id, Stop: id[:1], Title: id})
	}
	halts := stopsOf(steps)
	haltOf := func(stop string) int {
		return halts[slices.IndexFunc(steps, func(s *pb.CheckStep) bool { return strings.HasPrefix(s.GetStepId(), stop) })]
	}
	for answered, want := range map[string]string{
		"":               "a", // nothing was begun
		"a1":             "a", // in the middle of a stop
		"a1 a2":          "b", // between two
		"a1 a2 b1":       "b",
		"a1 c1":          "c",   // out of the plan's order, but a stop is under way
		"a1 b1 c1 c2":    "a b", // out of order and between two: both that are partly done
		"c1 c2":          "",    // no stop is partly done
		"d1 a1 a2 b1 b2": "c",   // the last one was not answered last
	} {
		told := runsTold{walk: walk{steps: steps, answered: map[string]bool{}, again: map[string]bool{}}}
		for _, step := range strings.Fields(answered) {
			told.answer(step)
		}
		var wanted []int
		for _, stop := range strings.Fields(want) {
			wanted = append(wanted, haltOf(stop))
		}
		got := told.halts()
		slices.Sort(got)
		if !slices.Equal(got, wanted) {
			t.Errorf("after %q the walk may have broken off at %v, want %v", answered, got, wanted)
		}
	}
}
