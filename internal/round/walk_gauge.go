package round

import (
	"cmp"
	"slices"

	pb "bayround/proto/bayround/v1"
)

// usable are the gauges that can be used, by name as people say it.
func usable(gauges []*pb.Gauge) []*pb.Gauge {
	kept := slices.DeleteFunc(slices.Clone(gauges), func(g *pb.Gauge) bool { return g.GetWithdrawn() })
	slices.SortFunc(kept, func(a, b *pb.Gauge) int {
		return cmp.Or(cmp.Compare(a.GetTitle(), b.GetTitle()), cmp.Compare(a.GetName(), b.GetName()))
	})
	return kept
}

// gaugedAs is the quantity for which a step needs a gauge of the register;
// unspecified when it needs none. What is read in a cab is read off the vehicle's
// own instruments.
func gaugedAs(step *pb.CheckStep, gauges []*pb.Gauge) pb.Quantity {
	if step.GetPosition() == pb.Position_POSITION_INSIDE_CAB || step.GetPosition() == pb.Position_POSITION_INSIDE_CREW_CAB {
		return pb.Quantity_QUANTITY_UNSPECIFIED
	}
	for _, p := range step.GetParts() {
		if slices.ContainsFunc(gauges, func(g *pb.Gauge) bool { return g.GetQuantity() == p.GetQuantity() }) {
			return p.GetQuantity()
		}
	}
	return pb.Quantity_QUANTITY_UNSPECIFIED
}

// gaugedQuantities are what a plan measures with a gauge, in its order.
func gaugedQuantities(steps []*pb.CheckStep, gauges []*pb.Gauge) []pb.Quantity {
	var all []pb.Quantity
	for _, step := range steps {
		if q := gaugedAs(step, gauges); q != pb.Quantity_QUANTITY_UNSPECIFIED && !slices.Contains(all, q) {
			all = append(all, q)
		}
	}
	return all
}
