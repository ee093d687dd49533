package plan_test

import (
	"math"
	"slices"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"
)

func walk(t testing.TB, in plan.Input, p *pb.Plan, ask plan.Ask) *pb.Walk {
	t.Helper()
	w, err := plan.Walk(in, p, ask)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func stepIDs(p *pb.Plan) (ids []string) {
	for _, s := range p.GetSteps() {
		ids = append(ids, s.GetStepId())
	}
	return ids
}

func walked(w *pb.Walk) (ids []string) {
	for _, h := range w.GetHalts() {
		ids = append(ids, h.GetStepIds()...)
	}
	return ids
}

// routineOf returns a routine of the default catalogue.
func routineOf(t testing.TB, loaded *catalogue.Loaded, name string) *pb.Routine {
	t.Helper()
	for _, r := range loaded.Routines {
		if r.GetName() == "routines/"+name {
			return r
		}
	}
	t.Fatalf("no routine %s", name)
	return nil
}

// checkWalk holds a walk to what every walk promises, whoever walks it.
func checkWalk(t interface {
	Helper()
	Errorf(string, ...any)
}, in plan.Input, p *pb.Plan, w *pb.Walk,
) {
	t.Helper()
	steps, item := map[string]*pb.CheckStep{}, map[string]*pb.Item{}
	for _, s := range p.GetSteps() {
		steps[s.GetStepId()] = s
	}
	for _, i := range in.Catalogue.GetItems() {
		item[i.GetId()] = i
	}
	seen, ran := map[string]bool{}, false
	seconds, metres, looking := 0.0, 0.0, 0.0
	for _, h := range w.GetHalts() {
		seconds += h.GetWayS()
		if !h.GetAssistantWalks() {
			metres += h.GetWayM()
		}
		missed := false
		for _, id := range h.GetStepIds() {
			s := steps[id]
			if s == nil || seen[id] {
				t.Errorf("step %q is done twice, or is none", id)
			}
			seen[id] = true
			looking += float64(s.GetLeastLookS())
			if s.GetMustNotMiss() && missed && len(item[s.GetItem()].GetAfter()) == 0 {
				t.Errorf("step %q must not be missed and stands behind one that may", id)
			}
			missed = missed || !s.GetMustNotMiss() && len(item[s.GetItem()].GetAfter()) == 0
			engine := s.GetState().GetEngine()
			if cold := engine == pb.EngineState_ENGINE_STATE_COLD || engine == pb.EngineState_ENGINE_STATE_COLD_START; cold && ran {
				t.Errorf("step %q wants a cold engine, which has run", id)
			}
			ran = ran || engine == pb.EngineState_ENGINE_STATE_RUNNING || engine == pb.EngineState_ENGINE_STATE_RUNNING_WARM
			for _, other := range p.GetSteps() {
				if slices.Contains(item[s.GetItem()].GetAfter(), other.GetItem()) && !seen[other.GetStepId()] && doneOnWalk(w, other.GetStepId()) {
					t.Errorf("step %q comes before %q, which must be done first", id, other.GetStepId())
				}
			}
			if s.GetStop() != h.GetStop() {
				t.Errorf("step %q of stop %q is done at %q", id, s.GetStop(), h.GetStop())
			}
		}
	}
	if math.Abs(seconds-w.GetWalkingS()-w.GetChangingS()) > 1e-6 || math.Abs(looking-w.GetLookingS()) > 1e-6 {
		t.Errorf("%v s on the ways and %v s of looking, said are %v + %v and %v", seconds, looking, w.GetWalkingS(), w.GetChangingS(), w.GetLookingS())
	}
	if metres > w.GetWalkedM()+0.0005*float64(len(w.GetHalts())) {
		t.Errorf("the ways are %v m, said are %v", metres, w.GetWalkedM())
	}
	if w.GetBoundS() > w.GetCostS()+1e-9 {
		t.Errorf("it costs %v, and nothing costs less than %v", w.GetCostS(), w.GetBoundS())
	}
}

func doneOnWalk(w *pb.Walk, id string) bool { return slices.Contains(walked(w), id) }

// TestWalk_IsThePlan: with an assistant the halts are the plan, step by step.
func TestWalk_IsThePlan(t *testing.T) {
	loaded := loadDefaults(t)
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, loaded)
		p := plan.Build(in)
		w, err := plan.Walk(in, p, plan.Ask{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(stepIDs(p), walked(w)); diff != "" {
			t.Errorf("plan and walk (-plan +walk):\n%s", diff)
		}
		checkWalk(t, in, p, w)
		naive, err := plan.Naive(in, p, plan.Ask{})
		if err != nil {
			t.Fatal(err)
		}
		got, want := walked(naive), stepIDs(p)
		slices.Sort(got)
		slices.Sort(want)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("plan and the catalogue's order (-plan +naive):\n%s", diff)
		}
	})
}

// TestWalk_KeepsPrecautions: whatever must be done first is, where the states of the vehicle
// allow it: precautions are drawn from items that can come first to items that can come behind.
func TestWalk_KeepsPrecautions(t *testing.T) {
	loaded := plan.LoadCounty(t)
	kept := 0
	rapid.Check(t, func(t *rapid.T) {
		in := plan.Input{Vehicle: rapid.SampledFrom(loaded.Vehicles).Draw(t, "vehicle"), Catalogue: proto.CloneOf(loaded.Catalogue), Routine: routineOf2(loaded, rapid.SampledFrom([]string{"shift", "weekly"}).Draw(t, "routine"))}
		for _, item := range in.Catalogue.GetItems() {
			item.After = nil // so that those drawn go round in no circle
		}
		last := in.Catalogue.GetStops()[len(in.Catalogue.GetStops())-1].GetId()
		turn := func(i *pb.Item) int {
			if i.GetStop() == last {
				return 10 + rank(&pb.CheckStep{State: i.GetState()})
			}
			return rank(&pb.CheckStep{State: i.GetState()})
		}
		items := in.Catalogue.GetItems()
		for range rapid.IntRange(1, 12).Draw(t, "precautions") {
			a := rapid.SampledFrom(items).Draw(t, "first")
			b := rapid.SampledFrom(items).Draw(t, "then")
			if x, y := turn(a), turn(b); x < y && y < 10 || x == y && a.GetId() < b.GetId() && x < 10 {
				if !slices.Contains(b.After, a.GetId()) {
					b.After = append(b.After, a.GetId())
					kept++
				}
			}
		}
		p := plan.Build(in)
		for _, alone := range []bool{false, true} {
			w, err := plan.Walk(in, p, plan.Ask{Alone: alone})
			if err != nil {
				t.Fatal(err)
			}
			checkWalk(t, in, p, w)
		}
	})
	if kept == 0 {
		t.Error("no precaution was ever drawn")
	}
}

func routineOf2(loaded *catalogue.Loaded, name string) *pb.Routine {
	i := slices.IndexFunc(loaded.Routines, func(r *pb.Routine) bool { return r.GetName() == "routines/"+name })
	return loaded.Routines[i]
}

// TestWalk_DrainsWhatWasReadFirst: where draining must wait for the pressure that is found with the
// ignition on, it comes when the ignition is off again; and what is closed comes last.
func TestWalk_DrainsWhatWasReadFirst(t *testing.T) {
	loaded := plan.LoadCounty(t)
	c := proto.CloneOf(loaded.Catalogue)
	for _, item := range c.GetItems() {
		if item.GetId() == "BRA-020" && !slices.Contains(item.After, "BRA-040") {
			item.After = append(item.After, "BRA-040")
		}
	}
	drained := 0
	for _, v := range loaded.Vehicles {
		at := map[string]int{}
		for i, s := range plan.Build(plan.Input{Vehicle: v, Catalogue: c, Routine: everything()}).GetSteps() {
			at[s.GetItem()] = i
		}
		if drain, due := at["BRA-020"]; due {
			drained++
			if drain < at["BRA-040"] || drain > at["CLN-020"] || drain < at["ENG-120"] {
				t.Errorf("%s: tanks drained at %d, air found at %d, engine run at %d, closed at %d", v.GetCallSign(), drain, at["BRA-040"], at["ENG-120"], at["CLN-020"])
			}
		}
	}
	if drained == 0 {
		t.Error("no vehicle has air tanks")
	}
}

// TestWalk_DemoCounty: proven to the last tenth of a second, and much less walking than
// by the catalogue's order: measured
// 39 to 49 % fewer metres for the powered vehicles, 37 to 72 % for the trailers.
func TestWalk_DemoCounty(t *testing.T) {
	loaded := plan.LoadCounty(t)
	for _, v := range loaded.Vehicles {
		for _, name := range []string{"shift", "weekly"} {
			in := plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Routine: routineOf(t, loaded, name), Station: loaded.Stations[0]}
			p := plan.Build(in)
			w := walk(t, in, p, plan.Ask{})
			naive, err := plan.Naive(in, p, plan.Ask{})
			if err != nil {
				t.Fatal(err)
			}
			checkWalk(t, in, p, w)
			if gap := w.GetCostS() - w.GetBoundS(); gap > 0.01*w.GetBoundS() {
				t.Errorf("%s, %s: %v s, and %v is not proven impossible", v.GetCallSign(), name, w.GetCostS(), w.GetBoundS())
			}
			metres, trips := 1-w.GetWalkedM()/naive.GetWalkedM(), naive.GetCabTrips()-w.GetCabTrips()
			t.Logf("%s, %s: %.0f m (%.0f %% fewer), %d climbs (%d fewer), %.0f s (%.0f %% fewer), gap %.2f %%", v.GetCallSign(), name, w.GetWalkedM(), 100*metres,
				w.GetCabTrips(), trips, w.GetWalkingS()+w.GetChangingS(), 100-100*(w.GetWalkingS()+w.GetChangingS())/(naive.GetWalkingS()+naive.GetChangingS()), 100*(w.GetCostS()/w.GetBoundS()-1))
			if metres < 0.35 || trips < 0 {
				t.Errorf("%s, %s: only %.1f %% fewer metres and %d fewer climbs", v.GetCallSign(), name, 100*metres, trips)
			}
		}
	}
}
