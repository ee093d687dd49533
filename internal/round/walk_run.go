package round

import (
	"slices"
	"strings"

	pb "bayround/proto/bayround/v1"
)

// changedByRun tells that a run may have changed what a step looks at, so that it
// is asked again on return: tyres are warm and may be damaged, levels disturbed,
// brakes hot, the engine is no longer cold; and the vehicle stands anew, so that
// what was made safe before it was touched, and what was shut at the end, must be
// seen again (reference/job-map.md, A3.6; the last two are common practice).
func changedByRun(step *pb.CheckStep) bool {
	switch {
	case step.GetColdAfter() != nil, step.GetState().GetEngine() == pb.EngineState_ENGINE_STATE_COLD:
		return true
	case step.GetFluid() != pb.FluidKind_FLUID_KIND_UNSPECIFIED:
		return true
	case step.GetAxle() > 0 && len(step.GetParts()) > 0 && step.GetParts()[0].GetQuantity() == pb.Quantity_QUANTITY_PRESSURE:
		return true
	}
	switch family := step.GetFamily(); {
	case family == familyTyres:
		return step.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_CONDITION
	case strings.HasPrefix(family, familyBrakes):
		return true
	default:
		return family == familyPreconditions || family == familyCloseDown
	}
}

// Families of the catalogue; those of brakes are divided further.
const (
	familyPreconditions = "Preconditions"
	familyCloseDown     = "Close-down"
	familyTyres         = "Tyres"
	familyBrakes        = "Brakes"
)

// againAfter are the answered steps to be asked again after a run: what it
// changed, and all of the halt at which the walk broke off, or of each at which it may
// have, for nobody remembers how far that was done (job-map.md, A3.6 and C11).
func againAfter(w walk, brokeOff ...int) map[string]bool {
	again := map[string]bool{}
	halts := stopsOf(w.steps)
	for i, step := range w.steps {
		id := step.GetStepId()
		if w.again[id] || w.answered[id] && (changedByRun(step) || slices.Contains(brokeOff, halts[i])) {
			again[id] = true
		}
	}
	return again
}
