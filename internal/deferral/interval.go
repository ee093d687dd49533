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
	return beginning(day.Year(), day.Month(), day.Day()+int(days)+1, zone)
}

// beginning is the first instant of a day by the clocks of zone, also where they are
// changed at midnight: put forward it begins at 01:00, put back it may begin twice.
func beginning(year int, month time.Month, day int, zone *time.Location) time.Time {
	at := time.Date(year, month, day, 0, 0, 0, 0, zone)
	change, next := at.ZoneBounds()
	switch {
	case at.Hour() > 12: // there is no midnight; this is the evening before
		return next
	case at.Hour() > 0 || at.Minute() > 0: // there is none; this is after it
		return change
	case change.IsZero():
		return at
	}
	_, now := at.Zone()
	_, before := change.Add(-time.Second).Zone()
	if first := at.Add(time.Duration(now-before) * time.Second); now < before && first.Before(change) {
		return first
	}
	return at
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
