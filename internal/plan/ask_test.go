package plan_test

import (
	"slices"
	"strings"
	"testing"

	"bayround/internal/fault"
	"bayround/internal/plan"
	pb "bayround/proto/bayround/v1"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// pump is what is due on the newest pump in a shift and a week.
func pump(t testing.TB) (plan.Input, *pb.Plan) {
	t.Helper()
	loaded := plan.LoadCounty(t)
	for _, v := range loaded.Vehicles {
		if v.GetCallSign() == "WN11" {
			in := plan.Input{Vehicle: v, Catalogue: loaded.Catalogue, Station: loaded.Stations[0], Routine: &pb.Routine{
				Name: "routines/both", Triggers: []pb.Trigger{pb.Trigger_TRIGGER_SHIFT, pb.Trigger_TRIGGER_WEEKLY},
			}}
			return in, plan.Build(in)
		}
	}
	t.Fatal("there is no WN11")
	return plan.Input{}, nil
}

// TestWalk_Alone: nobody assists; what has no accepted way alone is named, all else is done.
func TestWalk_Alone(t *testing.T) {
	in, p := pump(t)
	w := walk(t, in, p, plan.Ask{Alone: true})
	checkWalk(t, in, p, w)
	var cannot, rest []string
	for _, s := range p.GetSteps() {
		if s.GetState().GetAssistant() && s.GetAlonePrompt() == "" {
			cannot = append(cannot, s.GetStepId())
		} else {
			rest = append(rest, s.GetStepId())
		}
	}
	if diff := cmp.Diff(cannot, w.GetNotAlone()); diff != "" || len(cannot) == 0 {
		t.Errorf("not to be done alone (-want +got):\n%s", diff)
	}
	got := walked(w)
	slices.Sort(rest)
	slices.Sort(got)
	if diff := cmp.Diff(rest, got); diff != "" {
		t.Errorf("done alone (-want +got):\n%s", diff)
	}
	settings, held := 0, 0
	for _, h := range w.GetHalts() {
		if h.GetAssistant() || h.GetAssistantWalks() {
			t.Errorf("somebody assists at %v", h.GetStepIds())
		}
		for _, change := range h.GetChanges() {
			if strings.HasPrefix(change, "lit: ") {
				settings++
			}
			for _, circuit := range in.Catalogue.GetCircuits() {
				if i := strings.Index(change, circuit.GetTitle()); i >= 0 && strings.HasPrefix(change, "lit: ") {
					if says := strings.HasPrefix(change[i+len(circuit.GetTitle()):], " (held on"); says != circuit.GetHeld() {
						t.Errorf("%q: that somebody must hold %s on is said: %v", change, circuit.GetTitle(), says)
					}
					if circuit.GetHeld() {
						held++
					}
				}
			}
		}
	}
	if w.GetAssistantS() != 0 || !w.GetAlone() || settings == 0 || held == 0 {
		t.Errorf("alone %v, %v s with an assistant, %d settings", w.GetAlone(), w.GetAssistantS(), settings)
	}
	if with := walk(t, in, p, plan.Ask{}); w.GetCabTrips() <= with.GetCabTrips() {
		t.Errorf("alone one climbs into the cab %d times, with an assistant %d times", w.GetCabTrips(), with.GetCabTrips())
	}
}

// TestWalk_Rest: what is done is not done again, everything else is, from wherever the driver stands,
// by the best way that is left.
func TestWalk_Rest(t *testing.T) {
	in, p := pump(t)
	ids := stepIDs(p)
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(0, len(ids)-1).Draw(t, "done")
		ask := plan.Ask{Done: ids[:k], AtStep: ids[max(0, k-1)], Alone: rapid.Bool().Draw(t, "alone"), EngineWarm: rapid.Bool().Draw(t, "warm")}
		w, err := plan.Walk(in, p, ask)
		if err != nil {
			t.Fatal(err)
		}
		got := slices.Concat(walked(w), w.GetNotAlone(), w.GetLeftOut(), ids[:k])
		want := slices.Clone(ids)
		slices.Sort(got)
		slices.Sort(want)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("steps done, named or done before (-want +got):\n%s", diff)
		}
		for _, s := range p.GetSteps() {
			cold := s.GetState().GetEngine() == pb.EngineState_ENGINE_STATE_COLD
			if cold && ask.EngineWarm && slices.Contains(walked(w), s.GetStepId()) {
				t.Errorf("%s wants a cold engine", s.GetStepId())
			}
		}
		if w.GetBoundS() != w.GetCostS() {
			t.Errorf("costs %v, and %v is not proven impossible", w.GetCostS(), w.GetBoundS())
		}
	})
}

// TestWalk_UnknownStep: who asks for a step that is not of the plan has another plan.
func TestWalk_UnknownStep(t *testing.T) {
	in, p := pump(t)
	for _, ask := range []plan.Ask{{Done: []string{"OLD-999/gone"}}, {AtStep: "OLD-999/gone"}} {
		if _, err := plan.Walk(in, p, ask); !fault.Is(err, fault.Invalid) {
			t.Errorf("%+v: %v", ask, err)
		}
		if _, err := plan.Naive(in, p, ask); !fault.Is(err, fault.Invalid) {
			t.Errorf("naive, %+v: %v", ask, err)
		}
	}
}

// BenchmarkWalk plans all of a shift and a week of the newest pump, what is left after half, and what
// fits in two thirds of the time.
func BenchmarkWalk(b *testing.B) {
	in, p := pump(b)
	ids := stepIDs(p)
	whole := walk(b, in, p, plan.Ask{})
	for name, ask := range map[string]plan.Ask{
		"whole": {}, "alone": {Alone: true}, "rest": {Done: ids[:len(ids)/2], AtStep: ids[len(ids)/2]},
		"rest alone": {Alone: true, Done: ids[:len(ids)/2], AtStep: ids[len(ids)/2]},
		"short":      {WithinS: int(whole.GetLookingS()+whole.GetWalkingS()+whole.GetChangingS()) * 2 / 3},
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportMetric(float64(len(ids)), "steps")
			for b.Loop() {
				walk(b, in, p, ask)
			}
		})
	}
}
