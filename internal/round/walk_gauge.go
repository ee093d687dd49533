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
// unspecified when it needs none. A gauge in the hand is used at wheels, in the
// engine space and at the battery box; in cabs and at panels the vehicle's own
// instruments are read (common practice). What no gauge of the register can read
// is measured with something else.
func gaugedAs(step *pb.CheckStep, gauges []*pb.Gauge) pb.Quantity {
	if len(step.GetParts()) == 0 || step.GetAxle() == 0 && !byHand(step.GetPosition()) {
		return pb.Quantity_QUANTITY_UNSPECIFIED
	}
	part := step.GetParts()[0]
	if slices.ContainsFunc(gauges, func(g *pb.Gauge) bool { return reads(g, part) }) {
		return part.GetQuantity()
	}
	return pb.Quantity_QUANTITY_UNSPECIFIED
}

func byHand(p pb.Position) bool {
	return p == pb.Position_POSITION_OUTSIDE_KNEELING || p == pb.Position_POSITION_ENGINE_FLAP || p == pb.Position_POSITION_BATTERY_BOX
}

// reads tells that a gauge can read every value of a part that is believed.
func reads(g *pb.Gauge, p *pb.ReadingPart) bool {
	return g.GetQuantity() == p.GetQuantity() &&
		g.GetRange().GetLeast() <= p.GetPlausible().GetLeast() && p.GetPlausible().GetGreatest() <= g.GetRange().GetGreatest()
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
