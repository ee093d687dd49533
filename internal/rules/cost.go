package rules

import (
	"fmt"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/cost"
	"cel.dev/cel-go/common/types"
)

const (
	// maxGroup is the most observations a group may hold; a larger one could not
	// be worked out. It bounds the cost of every expression over a group.
	maxGroup = 400
	// costLimit is the dearest evaluation allowed, in CEL's units (about one
	// step of the interpreter each): one pairwise look over a full group.
	costLimit = 4_000_000

	longestField   = 1000 // letters: the greatest max_len in the contract
	longestList    = 120  // elements: the greatest max_items of a vehicle or step
	mostSeenFaults = 12   // conditions of one answer
)

// estimator tells CEL's static cost estimate how large our inputs can be. What
// it does not know stays unbounded, and the rule is refused.
type estimator struct{}

// EstimateSize bounds what is read straight from a variable.
func (estimator) EstimateSize(node cost.AstNode) *cost.SizeEstimate {
	path := node.Path()
	if len(path) == 0 {
		return nil
	}
	most := uint64(1)
	switch node.Type().Kind() {
	case types.ListKind, types.MapKind:
		most = longestList
		if len(path) == 1 && path[0] == "group" {
			most = maxGroup
		}
	case types.StringKind, types.BytesKind:
		most = longestField
	}
	size := cost.RangedSizeEstimate(0, most)
	return &size
}

// EstimateCallCost prices our own functions; CEL knows its own.
func (e estimator) EstimateCallCost(function, _ string, _ *cost.AstNode, args []cost.AstNode) *cost.CallEstimate {
	sizeOf := func(i int) uint64 {
		if size := args[i].ComputedSize(); size != nil {
			return size.Max
		}
		return cost.EstimateSize(e, args[i]).Max
	}
	var most uint64
	switch function {
	case "seen":
		most = mostSeenFaults
	case "count_seen":
		most = cost.SafeMultiply(cost.SafeMultiply(sizeOf(0), sizeOf(1)), mostSeenFaults)
	case "feature":
		most = longestList
	case "least", "greatest", "spread":
		most = sizeOf(0)
	case "round", "psi", "bar", "days_until":
		most = 1
	default:
		return nil
	}
	return cost.NewCallEstimate(cost.RangedCostEstimate(1, cost.SafeAdd(most, 1)), nil)
}

// tooCostly gives a complaint when the dearest evaluation of a checked
// expression lies above the limit or has no bound.
func tooCostly(env *cel.Env, checked *cel.Ast) *complaint {
	estimate, err := env.EstimateCost(checked, estimator{})
	switch {
	case err != nil:
		return &complaint{wrong: fmt.Sprintf("its cost cannot be estimated: %v", err), right: "write it more simply"}
	case estimate.IsUnknown() || estimate.Max >= 1<<62:
		return &complaint{wrong: "its cost has no bound", right: "work on what vehicle, o or group hold, not on lists and texts made on the way"}
	case estimate.Max > costLimit:
		return &complaint{
			wrong: fmt.Sprintf("it is too costly: up to %d steps, %d are allowed", estimate.Max, costLimit),
			right: fmt.Sprintf("nest fewer exists, all, map and filter; a group counts as %d observations", maxGroup),
		}
	}
	return nil
}
