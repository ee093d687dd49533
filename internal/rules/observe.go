package rules

import (
	"math"
	"slices"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

const (
	// levelBelow and levelAbove stand for a level outside its marks.
	levelBelow = -1
	levelAbove = 2
	// threeQuarters of the tread's breadth is what law and policies look at.
	threeQuarters = 0.75
	// treadPart is the part of a reading that is a tread depth, where an item
	// asks for one depth and not for a profile.
	treadPart = "tread_depth"
)

func observeReading(o *pb.Observation, reading *pb.Reading) {
	o.Values = make(map[string]float64, len(reading.GetValues()))
	for _, v := range reading.GetValues() {
		if isFinite(v.GetSi()) {
			o.Values[v.GetPart()] = v.GetSi()
		}
	}
	if len(o.GetValues()) == 0 {
		return
	}
	// The first value is that of the step's first part, in whatever order they came.
	first := ""
	if parts := o.GetStep().GetParts(); len(parts) > 0 {
		first = parts[0].GetId()
	}
	value, ok := o.GetValues()[first]
	if !ok {
		return
	}
	o.HasValue, o.Value, o.AsRead = true, value, value
	if share := value / o.GetTarget(); o.GetHasTarget() && isFinite(share) {
		o.ShareOfTarget = share
	}
	if depth, ok := o.GetValues()[treadPart]; ok {
		o.HasTread, o.TreadBandMm, o.TreadCentralMm, o.TreadLeastMm = true, depth, depth, depth
	}
}

func observeProfile(o *pb.Observation, profile *pb.TreadProfile) {
	for _, s := range profile.GetSections() {
		if len(s.GetPoints()) == 0 {
			return // half a profile is none
		}
	}
	depths := treadProfile(profile)
	band, central, least := depths.BestBand(threeQuarters), depths.Central(threeQuarters), depths.Least()
	if len(depths) > 0 && isFinite(band) && isFinite(central) && isFinite(least) {
		o.HasTread, o.TreadBandMm, o.TreadCentralMm, o.TreadLeastMm = true, band, central, least
	}
}

// treadProfile is a profile as package measure takes it.
func treadProfile(profile *pb.TreadProfile) measure.TreadProfile {
	depths := make(measure.TreadProfile, len(profile.GetSections()))
	for i, s := range profile.GetSections() {
		depths[i] = make(measure.TreadSection, len(s.GetPoints()))
		for n, p := range s.GetPoints() {
			depths[i][n] = measure.TreadPoint{Across: p.GetAcross(), DepthMM: p.GetDepthMm()}
		}
	}
	return depths
}

func observeLevel(o *pb.Observation, level *pb.Level) {
	switch level.GetMark() {
	case pb.LevelMark_LEVEL_MARK_BELOW:
		o.HasLevel, o.Level, o.LevelBelow = true, levelBelow, true
	case pb.LevelMark_LEVEL_MARK_ABOVE:
		o.HasLevel, o.Level, o.LevelAbove = true, levelAbove, true
	case pb.LevelMark_LEVEL_MARK_BETWEEN:
		if isFinite(level.GetFraction()) {
			o.HasLevel, o.Level = true, level.GetFraction()
		}
	}
}

// observeConditions notes the faults seen. A fault without a count affects one
// of however many the step looks at; none affected of those when all is sound.
func observeConditions(o *pb.Observation, seen []*pb.ConditionSeen) {
	step := o.GetStep()
	o.Of = max(step.GetAlike(), 1)
	for _, c := range seen {
		fault := faultOf(step, c.GetCondition())
		if fault == "" {
			continue
		}
		o.Faults = append(o.Faults, fault)
		affected, of := int32(1), max(step.GetAlike(), 1)
		if c.GetCount() != nil {
			affected, of = c.GetCount().GetAffected(), c.GetCount().GetOf()
		}
		if affected > o.GetAffected() || affected == o.GetAffected() && of < o.GetOf() {
			o.Affected, o.Of = affected, of
		}
	}
	slices.Sort(o.Faults)
	o.Faults = slices.Compact(o.Faults)
}

// statesConditions tells that an answer says which faults were seen: by naming
// the conditions, or beside a value, where none named means that none was seen.
func statesConditions(o *pb.Observation) bool {
	asksForValue := o.GetStep().GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION
	return o.GetResult().GetSeen() != nil || asksForValue && len(o.GetStep().GetConditions()) > 0
}

// faultOf gives the fault a condition of the step means, or "".
func faultOf(step *pb.CheckStep, condition string) string {
	for _, c := range step.GetConditions() {
		if c.GetId() == condition {
			return c.GetFault()
		}
	}
	return ""
}

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
