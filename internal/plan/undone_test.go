package plan

import (
	"fmt"
	"slices"
	"testing"

	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"
)

// book is what somebody would know who writes down, step by step, what is undone: the law in the words of the
// contract, not of the planner.
type book struct {
	done  []string
	items map[string]*pb.Item
	steps map[string]*pb.CheckStep
	of    map[string][]*pb.CheckStep // by item
}

func newBook(in Input, p *pb.Plan, done []string) book {
	b := book{done: done, items: map[string]*pb.Item{}, steps: map[string]*pb.CheckStep{}, of: map[string][]*pb.CheckStep{}}
	for _, item := range in.Catalogue.GetItems() {
		b.items[item.GetId()] = item
	}
	for _, s := range p.GetSteps() {
		b.steps[s.GetStepId()] = s
		b.of[s.GetItem()] = append(b.of[s.GetItem()], s)
	}
	return b
}

// costs is what a turnout costs while a step is done, with some steps done before it: the step itself, and all of them whose
// work stays and was not put back since by all steps of the item at which it is. Of what was done before the walk
// nobody knows in which order.
func (b book) costs(s *pb.CheckStep, before []string) (undoneS int32, open []string) {
	undoneS = s.GetUndoS()
	for place, id := range before {
		o := b.steps[id]
		until := b.items[o.GetItem()].GetStaysUntil()
		if until == "" {
			continue
		}
		known := before[:max(place, len(b.done))] // when it was done
		due, came, comes := 0, 0, 0
		for _, other := range b.of[until] {
			switch {
			case slices.Contains(known, other.GetStepId()):
				came++
			case slices.Contains(before, other.GetStepId()):
				comes++
			}
			due++
		}
		switch {
		case place < len(b.done) && due > 0 && came == due: // at some time before the walk
		case came < due && came+comes == due: // all that was still to come has come
		default:
			undoneS += o.GetUndoS()
			open = append(open, id)
		}
	}
	return undoneS, open
}

// hold holds a walk to the law: at every moment a turnout costs no more than the goal, or the walk names the step; what is undone is
// put back before the walk ends, or it names what is not; no step comes before its precautions or without them, or it names both.
func (b book) hold(t interface {
	Helper()
	Errorf(string, ...any)
}, w *pb.Walk,
) {
	t.Helper()
	met := slices.Clone(b.done)
	var over []string
	unguarded := map[string][]string{}
	for _, u := range w.GetUnguarded() {
		unguarded[u.GetStepId()] = u.GetPrecautions()
	}
	for i, h := range w.GetHalts() {
		most := int32(0)
		for _, id := range h.GetStepIds() {
			s := b.steps[id]
			undoneS, _ := b.costs(s, met)
			if most = max(most, undoneS); undoneS > w.GetTurnoutGoalS() {
				over = append(over, id)
			}
			var missing []string
			for _, item := range b.items[s.GetItem()].GetAfter() {
				for _, other := range b.of[item] {
					if item != s.GetItem() && !slices.Contains(met, other.GetStepId()) {
						missing = append(missing, other.GetStepId())
					}
				}
			}
			if !slices.Equal(missing, unguarded[id]) {
				t.Errorf("%s comes without %q; said is %q", id, missing, unguarded[id])
			}
			met = append(met, id)
		}
		if h.GetUndoneS() != most {
			t.Errorf("a turnout at halt %d costs %d s, said are %d", i+1, most, h.GetUndoneS())
		}
	}
	if !slices.Equal(over, w.GetOverGoal()) {
		t.Errorf("beyond %d s are %q, said are %q", w.GetTurnoutGoalS(), over, w.GetOverGoal())
	}
	_, open := b.costs(&pb.CheckStep{}, met)
	if said := slices.Clone(w.GetLeftUndone()); !slices.Equal(slices.Sorted(slices.Values(open)), slices.Sorted(slices.Values(said))) {
		t.Errorf("left undone is %q, said is %q", open, said)
	}
}

// lawAsks are the walks of a plan that the law is held against: whole, alone, the rest after a third and what there is half the time for.
func lawAsks(whole *pb.Walk, ids []string) map[string]Ask {
	third := ids[:len(ids)/3]
	at := ids[len(ids)/3]
	half := int(takesS(whole) / 2)
	return map[string]Ask{
		"whole": {}, "alone": {Alone: true}, "rest": {Done: third, AtStep: at}, "rest alone, engine warm": {Alone: true, Done: third, AtStep: at, EngineWarm: true},
		"short": {WithinS: half}, "short rest, alone": {Alone: true, Done: third, AtStep: at, WithinS: half / 2},
	}
}

// TestWalk_NeverOpenBeyondTheGoal: over every vehicle of the county and every routine. Two things undone at once never cost more than the goal
// but where one stays undone by design; then the walk says so.
func TestWalk_NeverOpenBeyondTheGoal(t *testing.T) {
	loaded := LoadCounty(t)
	stays, over, walks := 0, 0, 0
	for _, v := range loaded.Vehicles {
		for _, routine := range loaded.Routines {
			in := Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: routine, Station: loaded.Stations[0]}
			p := Build(in)
			if len(p.GetSteps()) == 0 {
				continue
			}
			whole, err := Walk(in, p, Ask{})
			if err != nil {
				t.Fatal(err)
			}
			undoS := map[string]int32{}
			for _, s := range p.GetSteps() {
				undoS[s.GetStepId()] = s.GetUndoS()
			}
			for name, ask := range lawAsks(whole, idsOf(p.GetSteps())) {
				w, err := Walk(in, p, ask)
				if err != nil {
					t.Fatal(err)
				}
				t.Run(fmt.Sprint(v.GetCallSign(), " ", routine.GetName(), " ", name), func(t *testing.T) { newBook(in, p, ask.Done).hold(t, w) })
				if w.GetTurnoutGoalS() != in.Station.GetTurnoutGoalS() {
					t.Errorf("the goal is %d s, the station's is %d", w.GetTurnoutGoalS(), in.Station.GetTurnoutGoalS())
				}
				if name == "whole" && len(w.GetUnguarded()) > 0 {
					t.Errorf("%s, %s: precautions of the default catalogue are not kept: %v", v.GetCallSign(), routine.GetName(), w.GetUnguarded())
				}
				walks, over = walks+1, over+len(w.GetOverGoal())
				for _, h := range w.GetHalts() {
					for _, id := range h.GetStepIds() {
						if h.GetUndoneS() > undoS[id] {
							stays++
						}
					}
				}
			}
		}
	}
	t.Logf("%d walks; %d steps with something undone beside them, %d beyond the goal", walks, stays, over)
	if stays == 0 || over == 0 {
		t.Errorf("%d steps with something undone beside them, %d beyond the goal: the law was held against nothing", stays, over)
	}
}

// TestWalk_SaysWhatStaysUndone: chocks that nothing takes out are named.
func TestWalk_SaysWhatStaysUndone(t *testing.T) {
	loaded := LoadCounty(t)
	for _, tc := range []struct {
		callSign string
		goalS    int32
		ask      func([]*pb.CheckStep) Ask
		left     []string
	}{
		{"T1", 0, func([]*pb.CheckStep) Ask { return Ask{} }, []string{"PRE-030/parking-brake"}}, // no step closes the check of a trailer
		{"WN11", 600, func([]*pb.CheckStep) Ask { return Ask{} }, nil},
		{"WN11", 600, func([]*pb.CheckStep) Ask { return Ask{WithinS: 60} }, nil}, // what must not be missed, and the closing of what it leaves
		{"WN11", 600, func(all []*pb.CheckStep) Ask { // chocked before, closed in the rest
			return Ask{Done: idsOf(all[:len(all)/2]), WithinS: 1}
		}, nil},
	} {
		v := loaded.Vehicles[slices.IndexFunc(loaded.Vehicles, func(v *pb.VehicleConfiguration) bool { return v.GetCallSign() == tc.callSign })]
		in := due(loaded, v, pb.Trigger_TRIGGER_SHIFT)
		in.Station = nil
		in.Catalogue = proto.CloneOf(in.Catalogue) // with nothing but the chocks to ask for the close-down
		for _, item := range in.Catalogue.GetItems() {
			if item.GetStop() == "close-down" {
				item.MustNotMiss, item.After = false, nil
			}
		}
		if tc.goalS > 0 {
			in.Station = &pb.Station{TurnoutGoalS: tc.goalS}
		}
		p := Build(in)
		w, err := Walk(in, p, tc.ask(p.GetSteps()))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(w.GetLeftUndone(), tc.left) {
			t.Errorf("%s: left undone is %q, want %q", tc.callSign, w.GetLeftUndone(), tc.left)
		}
		if want := max(tc.goalS, 80); tc.goalS == 0 && w.GetTurnoutGoalS() != 80 || w.GetTurnoutGoalS() != want { // 80 s: NFPA 1710, from memory
			t.Errorf("%s: the goal is %d s, want %d", tc.callSign, w.GetTurnoutGoalS(), want)
		}
		if tc.goalS == 600 && len(w.GetOverGoal()) > 0 {
			t.Errorf("%s: %q is beyond ten minutes", tc.callSign, w.GetOverGoal())
		}
	}
}

// TestWalk_NamesPrecautionsThatNoPhaseKeeps: whatever precautions are drawn, kept or not, round in a circle or against the engine:
// a step without one of them is named.
func TestWalk_NamesPrecautionsThatNoPhaseKeeps(t *testing.T) {
	loaded := LoadCounty(t)
	named := 0
	rapid.Check(t, func(t *rapid.T) {
		in := due(loaded, rapid.SampledFrom(loaded.Vehicles).Draw(t, "vehicle"), pb.Trigger_TRIGGER_SHIFT)
		in.Catalogue = proto.CloneOf(in.Catalogue)
		items := in.Catalogue.GetItems()
		for range rapid.IntRange(1, 6).Draw(t, "precautions") {
			a, b := rapid.SampledFrom(items).Draw(t, "first"), rapid.SampledFrom(items).Draw(t, "then")
			b.After = append(b.After, a.GetId())
			slices.Sort(b.After)
			b.After = slices.Compact(b.After)
			if a != b && rapid.Bool().Draw(t, "stays") {
				b.StaysUntil = a.GetId()
			}
		}
		p := Build(in)
		ids := idsOf(p.GetSteps())
		ask := Ask{Alone: rapid.Bool().Draw(t, "alone"), EngineWarm: rapid.Bool().Draw(t, "warm")}
		if k := rapid.IntRange(0, len(ids)-1).Draw(t, "done"); k > 0 {
			ask.Done, ask.AtStep = ids[:k], ids[k-1]
		}
		w, err := Walk(in, p, ask)
		if err != nil {
			t.Fatal(err)
		}
		newBook(in, p, ask.Done).hold(t, w)
		named += len(w.GetUnguarded())
	})
	if named == 0 {
		t.Error("every precaution could be kept")
	}
}
