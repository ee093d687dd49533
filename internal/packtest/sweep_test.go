package packtest

import (
	"strings"

	pb "bayround/proto/bayround/v1"
)

// sweep gives observations of an item that asks for a value, over everything it
// believes: close enough to show every band of a rule. Readings with a target
// go through the shares of it.
func sweep(item *pb.Item) []*pb.Observation {
	switch item.GetAnswerKind() {
	case pb.AnswerKind_ANSWER_KIND_LEVEL:
		return sweepLevels(item)
	case pb.AnswerKind_ANSWER_KIND_PROFILE:
		return sweepTread(item)
	case pb.AnswerKind_ANSWER_KIND_READING:
		return sweepReadings(item)
	}
	return nil
}

func sweepLevels(item *pb.Item) []*pb.Observation {
	all := []*pb.Observation{levelled(step(item), -1), levelled(step(item), 2)}
	for i := 0; i <= 100; i++ {
		all = append(all, levelled(step(item), float64(i)/100))
	}
	return all
}

func sweepTread(item *pb.Item) []*pb.Observation {
	var all []*pb.Observation
	for tenths := 0; tenths <= 100; tenths++ {
		mm := float64(tenths) / 10
		all = append(all, depths(step(item), mm, mm, mm, mm, mm), depths(step(item), 0, mm, mm, mm, mm), depths(step(item), 8, 8, mm, 8, 8))
	}
	return all
}

// sweepReadings walks every part through its possible range while the others
// stand at a fifth, half or the end of theirs.
func sweepReadings(item *pb.Item) []*pb.Observation {
	const stepsOfRange = 1500
	var all []*pb.Observation
	made := asked(item)
	for moving := range item.GetParts() {
		for _, elsewhere := range []float64{0, 0.2, 0.5, 1} {
			for i := 0; i <= stepsOfRange; i++ {
				values := make([]float64, len(item.GetParts()))
				for p, part := range item.GetParts() {
					least, greatest := part.GetPossible().GetLeast(), part.GetPossible().GetGreatest()
					share := elsewhere
					if p == moving {
						// Dense where the small numbers are, and still to the end.
						share = float64(i) / stepsOfRange
						share *= share * share
					}
					values[p] = least + share*(greatest-least)
				}
				all = append(all, read(made, values...))
			}
			if len(item.GetParts()) == 1 {
				break
			}
		}
	}
	return all
}

func isTyrePressure(item *pb.Item) bool {
	ofTyre := strings.HasPrefix(item.GetId(), "TYR-") || item.GetId() == "TRL-050"
	parts := item.GetParts()
	return ofTyre && len(parts) > 0 && parts[0].GetQuantity() == pb.Quantity_QUANTITY_PRESSURE
}
