package rules

import (
	"cmp"
	"fmt"
	"slices"

	"cel.dev/cel-go/common/types/ref"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// member is an observation as groups see it.
type member struct {
	observation *pb.Observation
	given       givens
	value       ref.Val // for CEL, made when first asked for
}

// groupKey tells groups of one rule apart.
type groupKey struct {
	axle int32
	side pb.Side
	lamp pb.LampFunction
	item string
}

// Groups judges all newest observations of the vehicle together, by the rules
// of group and vehicle scope. Findings come in the order of packs, rules,
// groups and faults. They share parts with the packs: do not change them.
func (j *Judge) Groups(os []*pb.Observation) []*pb.Finding {
	if len(j.groups) == 0 {
		return nil
	}
	byItem := j.members(os)
	var findings []*pb.Finding
	for _, r := range j.groups {
		for _, group := range r.groupsOf(byItem) {
			findings = append(findings, j.group(r, group)...)
		}
	}
	return findings
}

// members sorts out the observations that group rules look at, by item, in the
// order of step ids. Of several for one step it keeps the newest.
func (j *Judge) members(os []*pb.Observation) map[string][]*member {
	looked := make([]*pb.Observation, 0, len(os))
	for _, o := range os {
		if j.grouped[o.GetStep().GetItem()] {
			looked = append(looked, o)
		}
	}
	slices.SortFunc(looked, func(a, b *pb.Observation) int {
		return cmp.Or(cmp.Compare(a.GetStep().GetStepId(), b.GetStep().GetStepId()), compareAge(b, a))
	})
	looked = slices.CompactFunc(looked, func(a, b *pb.Observation) bool { return a.GetStep().GetStepId() == b.GetStep().GetStepId() })
	j.compareWheels(looked)
	byItem := make(map[string][]*member, len(j.grouped))
	for _, o := range looked {
		item := o.GetStep().GetItem()
		byItem[item] = append(byItem[item], &member{observation: o, given: givenIn(o)})
	}
	return byItem
}

// compareWheels puts observations in whose place others that tell their trend, and
// how the wheel does against its peers, where a rule in force asks for it.
func (j *Judge) compareWheels(looked []*pb.Observation) {
	var wheels []*pb.Observation
	var places []int
	for i, o := range looked {
		if j.trends[o.GetStep().GetItem()] {
			looked[i] = j.withTrend(o)
		}
		if j.peered[o.GetStep().GetItem()] && o.GetPeers() == nil {
			wheels, places = append(wheels, o), append(places, i)
		}
	}
	for n, p := range Peers(wheels) {
		if p != nil {
			told := sharing(looked[places[n]])
			told.Peers = p
			looked[places[n]] = told
		}
	}
}

// compareAge orders by station time, then by result id; the newer is greater.
// A result that has not reached the station yet has its device's time only.
func compareAge(a, b *pb.Observation) int {
	at, bt := timeOf(a.GetResult()), timeOf(b.GetResult())
	return cmp.Or(
		cmp.Compare(at.GetSeconds(), bt.GetSeconds()),
		cmp.Compare(at.GetNanos(), bt.GetNanos()),
		cmp.Compare(a.GetResult().GetResultId(), b.GetResult().GetResultId()),
	)
}

func timeOf(r *pb.Result) *timestamppb.Timestamp {
	if t := r.GetStationTime(); t != nil {
		return t
	}
	return r.GetDeviceTime()
}

// groupsOf gives the groups of one rule, in the order of their first step ids,
// each in the order of step ids.
func (r *compiled) groupsOf(byItem map[string][]*member) [][]*member {
	var all []*member
	for _, item := range r.items { // sorted, and a step id begins with its item
		all = append(all, byItem[item]...)
	}
	var groups [][]*member
	at := map[groupKey]int{}
	for _, m := range all {
		key, in := r.keyOf(m.observation.GetStep())
		if !in {
			continue
		}
		i, known := at[key]
		if !known {
			i = len(groups)
			at[key] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], m)
	}
	if r.rule.GetSameRound() {
		for i, g := range groups {
			groups[i] = newestRound(g)
		}
	}
	return groups
}

// keyOf gives the group a step belongs to; false when it is in none.
func (r *compiled) keyOf(step *pb.CheckStep) (groupKey, bool) {
	if r.rule.GetScope() == pb.RuleScope_RULE_SCOPE_VEHICLE {
		return groupKey{}, true
	}
	switch r.rule.GetGrouping() {
	case pb.Grouping_GROUPING_AXLE:
		return groupKey{axle: step.GetAxle()}, step.GetAxle() > 0
	case pb.Grouping_GROUPING_AXLE_END:
		return groupKey{axle: step.GetAxle(), side: step.GetSide()}, step.GetAxle() > 0 && step.GetSide() != pb.Side_SIDE_UNSPECIFIED
	case pb.Grouping_GROUPING_LAMP_FUNCTION:
		return groupKey{lamp: step.GetLampFunction()}, step.GetLampFunction() != pb.LampFunction_LAMP_FUNCTION_UNSPECIFIED
	}
	return groupKey{item: step.GetItem()}, true
}

// newestRound keeps the observations of the round of the newest result.
func newestRound(group []*member) []*member {
	newest := slices.MaxFunc(group, func(a, b *member) int { return compareAge(a.observation, b.observation) })
	round := newest.observation.GetResult().GetRound()
	return slices.DeleteFunc(group, func(m *member) bool { return m.observation.GetResult().GetRound() != round })
}

// group judges one group by one rule.
func (j *Judge) group(r *compiled, group []*member) []*pb.Finding {
	faults := []string{""}
	if len(r.rule.GetFaults()) > 0 {
		if faults = seenIn(group, r.rule.GetFaults()); len(faults) == 0 {
			return nil
		}
	}
	s := &scene{judge: j}
	var result []met
	if len(group) > maxGroup {
		err := fmt.Errorf("%d results fall into one group, at most %d can be judged", len(group), maxGroup)
		result = []met{{rule: r, err: err}}
	} else {
		s.showGroup(group)
		result = r.met(s, "") // faults do not change the condition: once is enough
	}
	if len(result) == 0 {
		return nil
	}
	looked := make([]*pb.Observation, len(group))
	for i, m := range group {
		looked[i] = m.observation
	}
	findings := make([]*pb.Finding, 0, len(faults))
	for _, fault := range faults {
		m := result[0]
		m.fault = fault
		findings = append(findings, j.finding(m, s, looked))
	}
	return findings
}

// seenIn gives those faults that some member of the group shows, in order.
func seenIn(group []*member, faults []string) []string {
	var seen []string
	for _, fault := range faults {
		if slices.ContainsFunc(group, func(m *member) bool { return slices.Contains(m.observation.GetFaults(), fault) }) {
			seen = append(seen, fault)
		}
	}
	slices.Sort(seen)
	return seen
}
