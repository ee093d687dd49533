package plan

import (
	"fmt"
	"slices"
	"testing"

	pb "bayround/proto/bayround/v1"

	"google.golang.org/protobuf/proto"
)

// kendall is Kendall's rank correlation (tau-a; M. G. Kendall, "A New Measure of Rank Correlation",
// Biometrika 30, 1938) of the steps that two orders share: 1 the same order, -1 turned round.
func kendall(a, b []string) float64 {
	place := map[string]int{}
	for i, id := range b {
		place[id] = i
	}
	var at []int
	for _, id := range a {
		if i, shared := place[id]; shared {
			at = append(at, i)
		}
	}
	sum := 0
	for i := range at {
		for j := range i {
			if at[j] < at[i] {
				sum++
			} else {
				sum--
			}
		}
	}
	if len(at) < 2 {
		return 1
	}
	return float64(sum) / float64(len(at)*(len(at)-1)/2)
}

// moved is how many of the steps that two orders share do not stand as before: as many as one must take
// out so that the rest is in the same order.
func moved(a, b []string) int {
	place := map[string]int{}
	for i, id := range b {
		place[id] = i
	}
	var tails []int // of the longest rising row of each length, the least end
	shared := 0
	for _, id := range a {
		at, known := place[id]
		if !known {
			continue
		}
		shared++
		if i, _ := slices.BinarySearch(tails, at); i < len(tails) {
			tails[i] = at
		} else {
			tails = append(tails, at)
		}
	}
	return shared - len(tails)
}

func TestKendallAndMoved(t *testing.T) {
	abcd := []string{"a", "b", "c", "d"}
	for _, tc := range []struct {
		source string
		other  []string
		tau    float64
		moved  int
	}{
		{"the same", abcd, 1, 0},
		{"turned round", []string{"d", "c", "b", "a"}, -1, 3},
		{"one pair of six turned: (5-1)/6", []string{"b", "a", "c", "d"}, 4.0 / 6, 1},
		{"what only one has does not count", []string{"a", "x", "b", "d"}, 1, 0},
	} {
		if tau, n := kendall(abcd, tc.other), moved(abcd, tc.other); tau != tc.tau || n != tc.moved {
			t.Errorf("%s: %v and %d moved, want %v and %d", tc.source, tau, n, tc.tau, tc.moved)
		}
	}
}

// smallChanges are configurations that differ in one thing: a lamp less, an opening less, a place 10 cm further on.
func smallChanges(v *pb.VehicleConfiguration) map[string]*pb.VehicleConfiguration {
	changes := map[string]*pb.VehicleConfiguration{}
	change := func(name string, do func(*pb.VehicleConfiguration)) {
		other := proto.CloneOf(v)
		do(other)
		changes[name] = other
	}
	for i := 0; i < len(v.GetLamps()); i += 9 {
		change(fmt.Sprint("lamp less ", v.GetLamps()[i].GetPlace().GetId()), func(o *pb.VehicleConfiguration) { o.Lamps = slices.Delete(o.Lamps, i, i+1) })
		change(fmt.Sprint("lamp moved ", v.GetLamps()[i].GetPlace().GetId()), func(o *pb.VehicleConfiguration) { o.Lamps[i].Place.At.XM -= 0.1 })
	}
	for i := 0; i < len(v.GetOpenings()); i += 4 {
		change(fmt.Sprint("opening less ", v.GetOpenings()[i].GetPlace().GetId()), func(o *pb.VehicleConfiguration) { o.Openings = slices.Delete(o.Openings, i, i+1) })
		change(fmt.Sprint("opening moved ", v.GetOpenings()[i].GetPlace().GetId()), func(o *pb.VehicleConfiguration) { o.Openings[i].Place.At.XM -= 0.1 })
	}
	for i := 0; i < len(v.GetPlaces()); i += 3 {
		change(fmt.Sprint("place moved ", v.GetPlaces()[i].GetId()), func(o *pb.VehicleConfiguration) { o.Places[i].At.XM -= 0.1 })
	}
	return changes
}

// TestKept_SmallChangesMoveFewSteps: who knows the round of yesterday knows that of today. What is kept costs a percent at
// most, and says so; what is not kept would cost more.
func TestKept_SmallChangesMoveFewSteps(t *testing.T) {
	loaded := LoadCounty(t)
	cases, kepts, sum, sumBest, most, steps := 0, 0, 0, 0, 0, 0
	least := 1.0
	for _, v := range loaded.Vehicles {
		in := due(loaded, v, pb.Trigger_TRIGGER_SHIFT)
		before := idsOf(Build(in).GetSteps())
		for name, other := range smallChanges(v) {
			cases++
			now := in
			now.Vehicle = other
			p := Build(now)
			best, err := Walk(now, p, Ask{})
			if err != nil {
				t.Fatal(err)
			}
			w := best
			if kept := Kept(in, now); kept != nil { // else nothing changes
				kepts++
				other.KeptOrders = []*pb.KeptOrder{kept}
				p = Build(now)
				if w, err = Walk(now, p, Ask{}); err != nil {
					t.Fatal(err)
				}
			}
			after := idsOf(p.GetSteps())
			if !slices.Equal(doneOn(w), after) {
				t.Fatalf("%s, %s: the walk is not the plan", v.GetCallSign(), name)
			}
			if w.GetCostS() > 1.01*best.GetCostS() || w.GetBoundS() != best.GetBoundS() || w.GetKeptCostsS() > w.GetCostS()-best.GetCostS()+1e-9 || w.GetKeptCostsS() < w.GetCostS()-best.GetCostS()-1e-9 {
				t.Errorf("%s, %s: costs %v, the best %v, said to cost %v more", v.GetCallSign(), name, w.GetCostS(), best.GetCostS(), w.GetKeptCostsS())
			}
			n := moved(before, after)
			if worse := moved(before, doneOn(best)); n > worse {
				t.Errorf("%s, %s: %d steps moved, though only %d would have", v.GetCallSign(), name, n, worse)
			} else {
				sumBest += worse
			}
			sum, most, steps = sum+n, max(most, n), steps+len(after)
			least = min(least, kendall(before, after))
			if n > len(after)/8 {
				t.Errorf("%s, %s: %d of %d steps moved", v.GetCallSign(), name, n, len(after))
			}
		}
	}
	t.Logf("%d changes of %d steps on average: %.2f steps moved on average (%.2f without what is kept), %d at most, least tau %.3f; %d orders kept",
		cases, steps/cases, float64(sum)/float64(cases), float64(sumBest)/float64(cases), most, least, kepts)
	if kepts == 0 {
		t.Error("no order was ever kept")
	}
}
