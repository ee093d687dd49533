package deferral

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// Case is a defect about which somebody decides.
type Case struct {
	// Defect, neither repaired nor closed.
	Defect *pb.Defect
	// Pack that says what may wait (PackOf); nil when none does.
	Pack *pb.RulePack
	// Deferred are the vehicle's defects that wait already, this one perhaps among them.
	Deferred []*pb.Defect
	// Zone is the station's local time.
	Zone *time.Location
}

// Right is whether the defect may wait, how long, and with what it is judged.
func (c Case) Right() *pb.DeferralRight {
	right := &pb.DeferralRight{}
	if system := SystemOf(c.Pack.GetDeferral().GetSystems(), c.Defect.GetStepId()); system != nil {
		right.System = system.GetTitle()
		right.TogetherWith = c.others(system)
	}
	stated, why := c.stated()
	grade := worstGrade(c.Defect)
	if why == "" && c.interval(grade) == nil {
		why = fmt.Sprintf("%s lets no defect of this grade wait", c.Pack.GetName())
	}
	if why != "" {
		right.WhyNot = why
		return right
	}
	right.Allowed = true
	right.Interval, right.Days = bounded(c.interval(grade).GetInterval(), stated)
	right.NeedsRestriction = c.takesAway() > pb.Effect_EFFECT_NOTHING
	found := c.Defect.GetFirstFound().AsTime()
	right.Latest = timestamppb.New(Latest(found, right.GetDays(), c.Zone))
	if most := c.Pack.GetDeferral().GetExtensions(); most > 0 {
		right.LatestExtended = timestamppb.New(Latest(found, right.GetDays()*(1+most), c.Zone))
	}
	return right
}

// stated is how many days the rules that found the defect let it wait, the fewest;
// otherwise why it may not wait.
func (c Case) stated() (days int32, why string) {
	switch {
	case c.Pack == nil:
		return 0, "no rule pack of this vehicle says what may wait"
	case c.Defect.GetStop() != nil:
		return 0, "somebody stopped the vehicle because of it; it is repaired and released, and does not wait"
	}
	for _, f := range c.Defect.GetFindings() {
		if why := c.never(f); why != "" {
			return 0, why
		}
		if f.GetPack() == c.Pack.GetName() && (days == 0 || f.GetLongestDeferralDays() < days) {
			days = f.GetLongestDeferralDays()
		}
	}
	if days == 0 {
		return 0, fmt.Sprintf("no rule of %s says how long it may wait", c.Pack.GetName())
	}
	return days, ""
}

// never says why a finding keeps its defect from waiting at all; empty when it does not.
func (c Case) never(f *pb.Finding) string {
	switch {
	case f.GetGrade() == pb.Grade_GRADE_DANGEROUS:
		return "it is dangerous, and what is dangerous never waits"
	case f.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED:
		return "nobody could work out what it takes away"
	case f.GetEffect() >= pb.Effect_EFFECT_MOVING:
		return "the vehicle must not move with it"
	case f.GetPack() == c.Pack.GetName() && f.GetLongestDeferralDays() == 0:
		return fmt.Sprintf("rule %s of %s does not let it wait", f.GetRule(), f.GetPack())
	case f.GetPack() != c.Pack.GetName() && f.GetEffect() == pb.Effect_EFFECT_RESPONDING:
		return fmt.Sprintf("rule %s of %s takes the vehicle off the run, and %s cannot give back what that takes", f.GetRule(), f.GetPack(), c.Pack.GetName())
	}
	return ""
}

// interval is what the pack says of a grade; nil when nothing.
func (c Case) interval(grade pb.Grade) *pb.DeferralInterval {
	for _, i := range c.Pack.GetDeferral().GetIntervals() {
		if i.GetGrade() == grade {
			return i
		}
	}
	return nil
}

// others names the other defects that wait on a system, in order.
func (c Case) others(system *pb.DeferralSystem) (names []string) {
	for _, d := range c.Deferred {
		if d.GetName() != c.Defect.GetName() && SystemOf(c.Pack.GetDeferral().GetSystems(), d.GetStepId()) == system {
			names = append(names, d.GetName())
		}
	}
	slices.Sort(names)
	return names
}

// takesAway is the most that any finding takes away.
func (c Case) takesAway() (most pb.Effect) {
	for _, f := range c.Defect.GetFindings() {
		most = max(most, f.GetEffect())
	}
	return most
}

func worstGrade(d *pb.Defect) (worst pb.Grade) {
	for _, f := range d.GetFindings() {
		worst = max(worst, f.GetGrade())
	}
	return worst
}
