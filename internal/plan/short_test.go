package plan

import (
	"math/rand/v2"
	"slices"
	"testing"

	pb "bayround/proto/bayround/v1"

	"pgregory.net/rapid"
)

// takesS is how long a walk takes, looking included.
func takesS(w *pb.Walk) float64 { return w.GetWalkingS() + w.GetChangingS() + w.GetLookingS() }

func idsOf(steps []*pb.CheckStep) (ids []string) {
	for _, s := range steps {
		ids = append(ids, s.GetStepId())
	}
	return ids
}

func doneOn(w *pb.Walk) (ids []string) {
	for _, h := range w.GetHalts() {
		ids = append(ids, h.GetStepIds()...)
	}
	return ids
}

// drawWorth draws what steps are worth: the published weights 40, 10 and 1, or nothing said.
func drawWorth(dice *rand.Rand, steps []*pb.CheckStep) map[string]float64 {
	worth := map[string]float64{}
	for _, s := range steps {
		if w := []float64{0, 1, 10, 40}[dice.IntN(4)]; w > 0 {
			worth[s.GetStepId()] = w
		}
	}
	return worth
}

// TestWalk_ShortIsTheBestThatFits goes through every choice of steps and every order of their halts.
func TestWalk_ShortIsTheBestThatFits(t *testing.T) {
	loaded := LoadCounty(t)
	chosen := 0
	rapid.Check(t, func(t *rapid.T) {
		in, steps := drawDue(t, loaded, 7)
		p := &pb.Plan{Steps: steps}
		in.Worth = drawWorth(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "worth"), 0)), steps)
		within := rapid.IntRange(1, 300).Draw(t, "within")
		w, err := Walk(in, p, Ask{WithinS: within})
		if err != nil {
			t.Fatal(err)
		}
		worth := func(ids []string) (sum float64) {
			for _, id := range ids {
				if v, said := in.Worth[id]; said {
					sum += v
				} else {
					sum++
				}
			}
			return sum
		}
		item := map[string]*pb.Item{}
		for _, i := range in.Catalogue.GetItems() {
			item[i.GetId()] = i
		}
		best := -1.0
		for choice := range 1 << len(steps) {
			var some []*pb.CheckStep
			complete, least := true, true
			for i, s := range steps {
				if choice>>i&1 == 1 {
					some = append(some, s)
				} else if s.GetMustNotMiss() {
					least = false
				}
			}
			for _, s := range some {
				for _, other := range steps {
					needed := slices.Contains(item[s.GetItem()].GetAfter(), other.GetItem()) || other.GetItem() == item[s.GetItem()].GetStaysUntil()
					complete = complete && (!needed || slices.Contains(some, other))
				}
			}
			if !complete || !least {
				continue
			}
			r := newRoute(newLayout(in.Vehicle), in.Catalogue, nil, some, outset{})
			cheapest, time := price(1<<60), tenths(0)
			orders(r, func(order []int) { // the walk that is told is a cheapest one
				if sum := r.sum(r.simulate(r.inOrder(order))); sum.price < cheapest {
					cheapest, time = sum.price, sum.time+tenths(10*sum.looking)
				}
			})
			if v := worth(idsOf(some)); time <= tenths(10*within) && v > best {
				best = v
			}
		}
		if best < 0 { // not even what must not be missed
			for _, id := range w.GetLeftOut() {
				if i := slices.IndexFunc(steps, func(s *pb.CheckStep) bool { return s.GetStepId() == id }); steps[i].GetMustNotMiss() {
					t.Errorf("%s must not be missed and is left out", id)
				}
			}
			return
		}
		if got := worth(doneOn(w)); got != best || takesS(w) > float64(within)+1e-6 {
			t.Errorf("in %d s %v of worth can be had; %v was, in %v s: %q of %q", within, best, got, takesS(w), doneOn(w), idsOf(steps))
		}
		if len(w.GetLeftOut()) > 0 && len(w.GetHalts()) > 0 {
			chosen++
		}
	})
	if chosen == 0 {
		t.Error("there was never a choice")
	}
}

// TestWalk_ShortKeepsToTheTime on whole vehicles: everything is done or named, what must not be missed is
// done, nothing goes without its precautions, and the time is kept where what must not be missed leaves any.
func TestWalk_ShortKeepsToTheTime(t *testing.T) {
	loaded := LoadCounty(t)
	for _, name := range []string{"T1", "WN11", "WN32"} {
		v := loaded.Vehicles[slices.IndexFunc(loaded.Vehicles, func(v *pb.VehicleConfiguration) bool { return v.GetCallSign() == name })]
		in := due(loaded, v, pb.Trigger_TRIGGER_SHIFT, pb.Trigger_TRIGGER_WEEKLY)
		p := Build(in)
		in.Worth = drawWorth(rand.New(rand.NewPCG(7, 0)), p.GetSteps())
		whole, err := Walk(in, p, Ask{})
		if err != nil {
			t.Fatal(err)
		}
		for _, share := range []float64{0.01, 0.6, 0.8, 0.95, 1.01} {
			within := int(takesS(whole) * share)
			w, err := Walk(in, p, Ask{WithinS: within})
			if err != nil {
				t.Fatal(err)
			}
			done := doneOn(w)
			if n := len(done) + len(w.GetLeftOut()); n != len(p.GetSteps()) {
				t.Errorf("%s in %d s: %d steps are done or named, of %d", name, within, n, len(p.GetSteps()))
			}
			optional := 0
			needs := needsOf(in.Catalogue, p.GetSteps())
			must := map[string]bool{}
			for _, s := range p.GetSteps() {
				if s.GetMustNotMiss() {
					must[s.GetStepId()] = true
					for _, other := range needs[s.GetStepId()] {
						must[other.GetStepId()] = true
					}
				}
			}
			for _, s := range p.GetSteps() {
				is := slices.Contains(done, s.GetStepId())
				if must[s.GetStepId()] && !is {
					t.Errorf("%s in %d s: %s must not be missed", name, within, s.GetStepId())
				}
				if is && !must[s.GetStepId()] {
					optional++
				}
				for _, other := range needs[s.GetStepId()] {
					if is && !slices.Contains(done, other.GetStepId()) {
						t.Errorf("%s in %d s: %s without %s", name, within, s.GetStepId(), other.GetStepId())
					}
				}
			}
			if takesS(w) > float64(within) && optional > 0 {
				t.Errorf("%s: %v s with %d steps that could be left out, not %d", name, takesS(w), optional, within)
			}
			if share > 1 && len(w.GetLeftOut()) > 0 {
				t.Errorf("%s: there is time for all, and %q is left out", name, w.GetLeftOut())
			}
			t.Logf("%s: %d of %d steps in %.0f of %d s", name, len(done), len(p.GetSteps()), takesS(w), within)
		}
	}
}
