package deferral

import (
	"strings"
	"time"

	pb "bayround/proto/bayround/v1"
)

// daysOf is how many days the intervals last whose length is published (CS-MMEL,
// rectification interval categories); interval A lasts as the rule states.
var daysOf = map[pb.RepairInterval]int32{
	pb.RepairInterval_REPAIR_INTERVAL_B: 3,
	pb.RepairInterval_REPAIR_INTERVAL_C: 10,
	pb.RepairInterval_REPAIR_INTERVAL_D: 120,
}

// Latest is the end of an interval of so many days: the midnight after its last day
// by the clocks of zone. found is when the defect was first found.
func Latest(found time.Time, days int32, zone *time.Location) time.Time {
	day := found.In(zone)
	return time.Date(day.Year(), day.Month(), day.Day()+int(days)+1, 0, 0, 0, 0, zone)
}

// bounded is the shorter of an interval and of what a rule states, and by which of
// them it is.
func bounded(interval pb.RepairInterval, stated int32) (pb.RepairInterval, int32) {
	if days, published := daysOf[interval]; published && days <= stated {
		return interval, days
	}
	return pb.RepairInterval_REPAIR_INTERVAL_A, stated
}

// PackOf is the first pack that says what may wait; nil when none does.
func PackOf(packs []*pb.RulePack) *pb.RulePack {
	for _, p := range packs {
		if p.GetDeferral() != nil {
			return p
		}
	}
	return nil
}

// SystemOf is the system that the item of a step belongs to; nil when it is none.
func SystemOf(systems []*pb.DeferralSystem, stepID string) *pb.DeferralSystem {
	item, _, _ := strings.Cut(stepID, "/")
	family, _, _ := strings.Cut(item, "-")
	for _, s := range systems {
		for _, belongs := range s.GetItems() {
			if belongs == item || belongs == family {
				return s
			}
		}
	}
	return nil
}
