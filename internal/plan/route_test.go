package plan

import (
	"maps"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/countytest"
	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"
)

// LoadCounty returns the vehicles of the invented county, for all tests of this package; nobody may change what it returns.
func LoadCounty(t testing.TB) *catalogue.Loaded {
	t.Helper()
	loaded, err := countytest.Load()
	if err != nil {
		t.Fatal(err)
	}
	return loaded
}

// due is everything of a vehicle that some triggers make due.
func due(loaded *catalogue.Loaded, v *pb.VehicleConfiguration, triggers ...pb.Trigger) Input {
	return Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: &pb.Routine{Name: "routines/due", Triggers: triggers}, Station: loaded.Stations[0]}
}

var much = []pb.Trigger{pb.Trigger_TRIGGER_SHIFT, pb.Trigger_TRIGGER_WEEKLY, pb.Trigger_TRIGGER_MONTHLY, pb.Trigger_TRIGGER_AFTER_INCIDENT}

// countySteps are the steps of each vehicle that much makes due.
func countySteps(loaded *catalogue.Loaded) map[string][]*pb.CheckStep {
	countyStepsMu.Lock()
	defer countyStepsMu.Unlock()
	if len(countyBuilt) == 0 {
		for _, v := range loaded.Vehicles {
			countyBuilt[v.GetName()] = Build(due(loaded, v, much...)).GetSteps()
		}
	}
	return countyBuilt
}

var (
	countyStepsMu sync.Mutex
	countyBuilt   = map[string][]*pb.CheckStep{} // guarded by countyStepsMu
)

// drawDue draws a vehicle of the county, a few or all of its steps, and precautions
// between their items, which go from items with smaller ids to ones with greater.
func drawDue(t *rapid.T, loaded *catalogue.Loaded, most int) (Input, []*pb.CheckStep) {
	v := rapid.SampledFrom(loaded.Vehicles).Draw(t, "vehicle")
	in := due(loaded, v, much...)
	steps := slices.Clone(countySteps(loaded)[v.GetName()])
	dice := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	dice.Shuffle(len(steps), func(i, j int) { steps[i], steps[j] = steps[j], steps[i] })
	steps = steps[:min(len(steps), rapid.IntRange(1, most).Draw(t, "steps"))]
	in.Catalogue = proto.CloneOf(in.Catalogue)
	due := map[string]bool{}
	for _, s := range steps {
		due[s.GetItem()] = true
	}
	for _, item := range in.Catalogue.GetItems() {
		for _, other := range slices.Sorted(maps.Keys(due)) {
			if due[item.GetId()] && other < item.GetId() && dice.IntN(8) == 0 {
				item.After = append(item.After, other)
			}
		}
		slices.Sort(item.After)
	}
	return in, steps
}

// TestSolve_ClaimsWhatAWalkerPays: the order is one that the promises allow, and what the solver says its order costs is what somebody pays who goes
// through it step by step, to the hundredth; and no less than its bound.
func TestSolve_ClaimsWhatAWalkerPays(t *testing.T) {
	loaded := LoadCounty(t)
	rapid.Check(t, func(t *rapid.T) {
		in, steps := drawDue(t, loaded, 80)
		r := newRoute(newLayout(in.Vehicle), in.Catalogue, nil, steps, outset{alone: rapid.Bool().Draw(t, "alone")})
		s := r.solve(nil)
		if paid := r.sum(r.simulate(r.inOrder(s.order))).price; paid != s.cost || s.bound > s.cost {
			t.Errorf("%d steps cost %d, it is said; the walker paid %d; the bound is %d", len(steps), s.cost, paid, s.bound)
		}
		used := make([]bool, len(r.halts))
		for i, h := range s.order {
			if used[h] || !mayFollow(r, s.order[:i], used, h) {
				t.Errorf("halt %d may not follow %v", h, s.order[:i])
			}
			used[h] = true
		}
		if len(s.order) != len(r.halts) {
			t.Errorf("%d halts of %d", len(s.order), len(r.halts))
		}
	})
}

// orders calls visit with every order of the halts that the promises of a walk allow, written down
// anew from its words: phases and the assistant's stretches one after the other, groups not
// interrupted, precautions kept, the first stop first and the closing stop last.
func orders(r *route, visit func([]int)) {
	var order []int
	used := make([]bool, len(r.halts))
	var step func()
	step = func() {
		if len(order) == len(r.halts) {
			visit(order)
			return
		}
		for h := range r.halts {
			if !used[h] && mayFollow(r, order, used, h) {
				used[h] = true
				order = append(order, h)
				step()
				order = order[:len(order)-1]
				used[h] = false
			}
		}
	}
	step()
}

func mayFollow(r *route, order []int, used []bool, h int) bool {
	next := r.halts[h]
	for other, o := range r.halts {
		if used[other] || other == h {
			continue
		}
		// Something that is still to be done stands against it:
		if o.block < next.block || len(order) > 0 && r.halts[order[len(order)-1]].group == o.group && o.group != next.group {
			return false
		}
		for _, i := range next.tasks {
			for _, j := range r.tasks[i].before {
				if r.tasks[j].halt == other {
					return false
				}
			}
		}
		if o.group != next.group && needsGroup(r, next.group, o.group) {
			return false
		}
	}
	return true
}

// needsGroup tells that a group comes behind another: for a precaution, or as the first and closing stops have it.
func needsGroup(r *route, group, other int) bool {
	for _, b := range r.blocks {
		if !slices.Contains(b.groups, group) || !slices.Contains(b.groups, other) {
			continue
		}
		for _, pair := range r.groupOrder(b.groups) {
			if pair == [2]int{other, group} {
				return true
			}
		}
	}
	for _, i := range r.groups[group].tasks {
		if slices.ContainsFunc(r.tasks[i].before, func(j int) bool { return slices.Contains(r.groups[other].tasks, j) }) {
			return true
		}
	}
	return false
}

// TestSolve_NothingIsCheaper goes through all orders of a few halts and lets a walker pay for each.
func TestSolve_NothingIsCheaper(t *testing.T) {
	loaded := LoadCounty(t)
	several := 0
	rapid.Check(t, func(t *rapid.T) {
		in, steps := drawDue(t, loaded, 9)
		alone := rapid.Bool().Draw(t, "alone")
		r := newRoute(newLayout(in.Vehicle), in.Catalogue, nil, steps, outset{alone: alone})
		if rapid.Bool().Draw(t, "on the way") {
			r.start, r.from = r.halts[0].at, phaseRunning.condition()
		}
		s := r.solve(nil)
		least, all := price(1<<60), 0
		orders(r, func(order []int) {
			all++
			least = min(least, r.sum(r.simulate(r.inOrder(order))).price)
		})
		if all > 1 {
			several++
		}
		if least != s.cost || s.bound != s.cost {
			t.Errorf("%d orders of %d halts: the cheapest costs %d; found was %d, and the bound is %d", all, len(r.halts), least, s.cost, s.bound)
		}
	})
	if several == 0 {
		t.Error("there was never a choice")
	}
}

// TestSolve_NoWorseThanTheNearestNext compares with the rule of somebody without a plan: always on to what
// is cheapest to come to next.
func TestSolve_NoWorseThanTheNearestNext(t *testing.T) {
	loaded := LoadCounty(t)
	for _, v := range loaded.Vehicles {
		if !slices.Contains([]string{"T1", "WN11", "WN13", "WN32"}, v.GetCallSign()) { // trailer, pump, ladder, ambulance
			continue
		}
		in := due(loaded, v, pb.Trigger_TRIGGER_SHIFT, pb.Trigger_TRIGGER_WEEKLY)
		r := newRoute(newLayout(v), in.Catalogue, nil, Build(in).GetSteps(), outset{})
		s := r.solve(nil)
		var near []int
		used := make([]bool, len(r.halts))
		for len(near) < len(r.halts) {
			best, least := -1, price(0)
			for h := range r.halts {
				if used[h] || !mayFollow(r, near, used, h) {
					continue
				}
				used[h] = true
				if p := r.sum(r.simulate(r.inOrder(append(near, h)))).price; best < 0 || p < least {
					best, least = h, p
				}
				used[h] = false
			}
			if best < 0 {
				t.Fatalf("%s: nothing can follow %v", v.GetCallSign(), near)
			}
			near, used[best] = append(near, best), true
		}
		paid := r.sum(r.simulate(r.inOrder(near))).price
		if s.cost > paid {
			t.Errorf("%s: %d is worse than %d, always on to what is nearest", v.GetCallSign(), s.cost, paid)
		}
		t.Logf("%s: %.1f s, nearest next %.1f s", v.GetCallSign(), s.cost.seconds(), paid.seconds())
	}
}

// TestSettings_AreFew against every way of putting sets together.
func TestSettings_AreFew(t *testing.T) {
	w := newWiring(nil)
	all := []string{"side", "dipped", "main", "indicators", "hazard", "brake", "reverse", "fog", "blue", "amber", "interior", "scene", "all"}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "signatures")
		var sets [][]string
		for range n {
			sets = append(sets, []string{rapid.SampledFrom(all).Draw(t, "circuit")})
		}
		chosen := w.settings(sets)
		fewest := n + 1
		of := make([]int, n)
		var try func(i, used int)
		try = func(i, used int) {
			if i == n {
				fewest = min(fewest, used)
				return
			}
			for s := range used + 1 {
				fits := true
				for j := range i {
					fits = fits && (of[j] != s || w.together(sets[i], sets[j]))
				}
				if of[i] = s; fits {
					try(i+1, max(used, s+1))
				}
			}
		}
		try(0, 0)
		if got := slices.Max(chosen) + 1; got != fewest {
			t.Errorf("%v need %d settings, not %d", sets, fewest, got)
		}
		for i := range n {
			for j := range i {
				if chosen[i] == chosen[j] && !w.together(sets[i], sets[j]) {
					t.Errorf("%v and %v are judged together", sets[i], sets[j])
				}
			}
		}
	})
}
