package rules

import (
	"fmt"
	"slices"
	"strings"

	"cel.dev/cel-go/common/types/ref"

	pb "bayround/proto/bayround/v1"
)

// Judge judges the results of one vehicle by the packs that are in force for
// it. It never changes; any number of goroutines may use it.
type Judge struct {
	engine       *Engine
	vehicle      *pb.VehicleConfiguration
	vehicleValue ref.Val
	packs        []string

	circumstances Circumstances // station and gauges, where they are known

	byFault  map[string][]*compiled    // result scope, set off by this fault
	byItem   map[string][]*compiled    // result scope, on values of this item
	groups   []*compiled               // group and vehicle scope
	grouped  map[string]bool           // items that group and vehicle rules look at
	trended  map[string]bool           // items of which some rule on one result reads the trend
	wholly   map[string]bool           // those of them of which it reads more than repeated readings
	trends   map[string]bool           // items of which some rule on several reads the trends
	peered   map[string]bool           // items of which some rule in force compares the wheels
	cold     map[string][]*pb.ColdRule // what counts as cold, by item
	spokenOf map[string]bool           // faults that some rule in force looks for
	counted  map[string]bool           // faults of which some rule in force asks how many show them
}

// For prepares the judge of a vehicle. The error is of type Errors: a pack the
// vehicle names is not there, or a rule's for_vehicles cannot be worked out for
// it. The vehicle must not be changed afterwards.
func (e *Engine) For(v *pb.VehicleConfiguration) (*Judge, error) {
	j := &Judge{
		engine: e, vehicle: v, vehicleValue: e.adapter.NativeToValue(v),
		byFault: map[string][]*compiled{}, byItem: map[string][]*compiled{},
		grouped: map[string]bool{}, spokenOf: map[string]bool{}, counted: map[string]bool{},
		trended: map[string]bool{}, wholly: map[string]bool{}, trends: map[string]bool{}, peered: map[string]bool{}, cold: map[string][]*pb.ColdRule{},
	}
	names := slices.Clone(v.GetRulePacks())
	slices.Sort(names) // the order of findings must not hang on the order in the file
	var wrong Errors
	for _, name := range slices.Compact(names) {
		p := e.packs[name]
		if p == nil {
			wrong = append(wrong, Error{Pack: name, RuleIndex: -1, Wrong: fmt.Sprintf("%s names this pack, and it is not there", v.GetName()), Right: e.packsThereAre()})
			continue
		}
		j.packs = append(j.packs, p.name+"@"+p.version)
		for _, rule := range p.cold {
			for _, item := range rule.GetItems() {
				j.cold[item] = append(j.cold[item], rule)
			}
		}
		for _, r := range p.rules {
			if err := j.take(r); err != nil {
				wrong = append(wrong, *err)
			}
		}
	}
	if err := wrong.asError(); err != nil {
		return nil, err
	}
	return j, nil
}

// Compared are the items whose wheels some rule in force compares, in order. They
// are peers of each other even where no rule looks at them together.
func (j *Judge) Compared() (items []string) {
	for item, compared := range j.peered {
		if compared {
			items = append(items, item)
		}
	}
	slices.Sort(items)
	return items
}

// take puts a rule in force when it is for this vehicle.
func (j *Judge) take(r *compiled) *Error {
	if r.forVehicles != nil {
		holds, err := r.forVehicles.holds(&scene{judge: j})
		if err != nil {
			return &Error{
				Pack: r.pack.name, RuleIndex: r.index, Rule: r.rule.GetId(), Field: "for_vehicles",
				Wrong: fmt.Sprintf("it cannot be worked out for %s: %v", j.vehicle.GetName(), err),
				Right: "ask first whether it is there, for instance size(vehicle.axles) > 1 && …",
			}
		}
		if !holds {
			return nil
		}
	}
	for _, fault := range r.speaksOf {
		j.spokenOf[fault] = true
	}
	j.takeCounts(r)
	trended, single := j.trended, r.rule.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT
	if !single {
		trended = j.trends
	}
	for _, item := range r.items {
		trended[item] = trended[item] || r.touches&givenTrend != 0
		j.wholly[item] = j.wholly[item] || single && r.wholly
		j.peered[item] = j.peered[item] || r.touches&givenPeers != 0
	}
	switch {
	case !single:
		j.groups = append(j.groups, r)
		for _, item := range r.items {
			j.grouped[item] = true
		}
	case len(r.rule.GetFaults()) > 0:
		for _, fault := range r.rule.GetFaults() {
			j.byFault[fault] = append(j.byFault[fault], r)
		}
	default:
		for _, item := range r.items {
			j.byItem[item] = append(j.byItem[item], r)
		}
	}
	return nil
}

func (e *Engine) packsThereAre() string {
	names := make([]string, 0, len(e.packs))
	for name := range e.packs {
		names = append(names, name)
	}
	slices.Sort(names)
	return "there is " + strings.Join(names, ", ")
}

// Counts tells that some rule in force that looks for a fault asks how many show it.
func (j *Judge) Counts(fault string) bool { return j.counted[fault] }

// takeCounts notes of which faults a rule asks how many show them: of those that it
// looks for, or of all of its items.
func (j *Judge) takeCounts(r *compiled) {
	if r.touches&givenConditions == 0 {
		return
	}
	for _, fault := range r.speaksOf {
		j.counted[fault] = true
	}
	if len(r.speaksOf) > 0 {
		return
	}
	for _, item := range r.items {
		for _, fault := range j.engine.known.items[item].GetFaults() {
			j.counted[fault.GetId()] = true
		}
	}
}

// Packs gives the packs in force as name@version, by name.
func (j *Judge) Packs() []string { return slices.Clone(j.packs) }

// GroupsOf tells whether any rule of group or vehicle scope looks at a step.
func (j *Judge) GroupsOf(step *pb.CheckStep) bool { return j.grouped[step.GetItem()] }

// Result judges one observation by the rules of result scope. The findings are
// in the order of packs and rules; at the end those faults that no rule speaks
// of. They share parts with the packs: do not change them.
func (j *Judge) Result(o *pb.Observation) []*pb.Finding {
	item := o.GetStep().GetItem()
	switch {
	case len(o.GetFaults()) == 0 && len(j.byItem[item]) == 0:
		return nil
	case !j.trended[item]:
		return j.result(o)
	case !j.wholly[item] && len(j.result(j.withRepeats(o))) == 0:
		return nil // no condition looks at more than that
	}
	return j.result(j.withTrend(o))
}

// result judges one observation that holds what the rules of its item read.
func (j *Judge) result(o *pb.Observation) []*pb.Finding {
	var found []met
	s := &scene{judge: j, observation: o, given: givenIn(o)}
	for _, fault := range o.GetFaults() {
		for _, r := range j.byFault[fault] {
			found = append(found, r.met(s, fault)...)
		}
	}
	for _, r := range j.byItem[o.GetStep().GetItem()] {
		found = append(found, r.met(s, "")...)
	}
	slices.SortStableFunc(found, met.compare)
	findings := make([]*pb.Finding, 0, len(found))
	looked := []*pb.Observation{o}
	for _, m := range found {
		findings = append(findings, j.finding(m, s, looked))
	}
	for _, fault := range o.GetFaults() {
		if !j.spokenOf[fault] && !names(findings, fault) {
			findings = append(findings, j.unspoken(fault, o))
		}
	}
	return findings
}

// names tells that a finding is about a fault: a rule on values that was met may
// stand for the very one that was seen beside the value.
func names(findings []*pb.Finding, fault string) bool {
	return slices.ContainsFunc(findings, func(f *pb.Finding) bool { return f.GetFault() == fault })
}
