package packtest

import (
	"testing"

	pb "bayround/proto/bayround/v1"
)

// Every fault of the fault catalogue can be recorded: a condition of its item
// stands for it, or a value shows it, by a rule of the service's policy that names
// it. No fault of an item that asks for a value has both: it would be told twice.
// A history is no value: it may show what a driver has noticed, or has not.
func TestFaults_EachCanBeRecorded(t *testing.T) {
	d := ours(t)
	answerable, byValue := d.answerable(), map[string]bool{}
	for _, r := range d.packs[policyPack].GetRules() {
		if (r.GetWhen() != "" || r.GetLimit() != nil) && len(r.GetFaults()) == 0 && !readsHistory(r) {
			byValue[r.GetNamesFault()] = true
		}
	}
	rows := table(t, "fault-catalogue.csv", 715)
	if len(rows) != 715 {
		t.Fatalf("the fault catalogue has %d faults, this test knows 715", len(rows))
	}
	beside := 0
	for _, r := range rows {
		fault, asksForValue := r["fault_id"], d.items[r["item_id"]].GetAnswerKind() != pb.AnswerKind_ANSWER_KIND_CONDITION
		switch {
		case !answerable[fault] && !byValue[fault]:
			t.Errorf("%s, %s: nothing a driver can answer shows it", fault, r["fault"])
		case asksForValue && answerable[fault] && byValue[fault]:
			t.Errorf("%s, %s: the value shows it, and it is asked for beside the value, too", fault, r["fault"])
		case asksForValue && answerable[fault]:
			beside++
		}
	}
	if beside != 62 {
		t.Errorf("%d faults are asked for beside a value, want 62", beside)
	}
}

// What a driver answers does set off what was promised: each of the faults is
// named by a finding on some answer, or on two answers together.
func TestFaults_EachIsFound(t *testing.T) {
	d := ours(t)
	found := map[string]bool{}
	for _, v := range []*pb.VehicleConfiguration{heavy(), light()} {
		j := d.judge(t, v, policyPack)
		for _, item := range d.items {
			answers := sweep(item)
			for _, c := range item.GetConditions() {
				if !c.GetSound() {
					answers = append(answers, showing(t, j, asked(item), nil, c.GetId()))
				}
			}
			for _, o := range answers {
				noteFaults(found, j.Result(o))
			}
		}
		for _, r := range d.packs[policyPack].GetRules() {
			if r.GetScope() == pb.RuleScope_RULE_SCOPE_GROUP && r.GetNamesFault() != "" && !found[r.GetNamesFault()] {
				for _, pair := range pairs(d, r) {
					noteFaults(found, j.Groups(pair))
				}
			}
		}
	}
	for _, r := range table(t, "fault-catalogue.csv", 715) {
		if !found[r["fault_id"]] {
			t.Errorf("%s, %s: no answer sets it off", r["fault_id"], r["fault"])
		}
	}
}

func noteFaults(found map[string]bool, findings []*pb.Finding) {
	for _, f := range findings {
		if f.GetFault() != "" && f.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED {
			found[f.GetFault()] = true
		}
	}
}

// pairs answers a group rule's first and last item, which may be one and the same
// at two places, with values far apart and close together.
func pairs(d *defaults, r *pb.Rule) (all [][]*pb.Observation) {
	items := r.GetItems()
	one, other := d.items[items[0]], d.items[items[len(items)-1]]
	place := func(item *pb.Item, id string, other pb.Side) func(*pb.CheckStep) {
		side := item.GetSide()
		if side == pb.Side_SIDE_UNSPECIFIED {
			side = other
		}
		return at(id, 2, side)
	}
	near, off := place(one, "a", pb.Side_SIDE_NEARSIDE), place(other, "b", pb.Side_SIDE_OFFSIDE)
	for _, value := range []float64{4, 600} {
		for _, apart := range []float64{-200, -50, -5, 5, 50, 200} {
			if one.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE {
				all = append(all, []*pb.Observation{depths(step(one, near), 9, 9), depths(step(other, off), 9+apart/10, 9+apart/10)})
				continue
			}
			all = append(all, []*pb.Observation{read(step(one, near), value), read(step(other, off), value+apart)})
		}
	}
	return all
}
