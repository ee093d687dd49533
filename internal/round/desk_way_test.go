package round_test

import (
	"slices"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// The view holds the way through the round's plan, for one who walks alone or with an
// assistant as it is now; every step of the round is on it, or named as not to be done alone.
func TestDesk_HoldsTheWalkOfTheRound(t *testing.T) {
	tab := newHands(t)
	for _, assistant := range []string{"people/quellmere", ""} {
		tab.begin(wn11, shift, assistant)
		v := tab.View()
		w := v.Round.Walk
		if w.GetAlone() != (assistant == "") || len(w.GetRoundLine()) < 4 {
			t.Fatalf("assistant %q: alone %v, a line of %d corners", assistant, w.GetAlone(), len(w.GetRoundLine()))
		}
		on := map[string]bool{}
		for _, h := range w.GetHalts() {
			for _, id := range h.GetStepIds() {
				on[id] = true
			}
		}
		for _, id := range w.GetNotAlone() {
			on[id] = true
		}
		for _, m := range v.Round.Marks {
			if !on[m.StepID] {
				t.Errorf("assistant %q: %s is not on the walk", assistant, m.StepID)
			}
		}
		tab.act("give-up", "note", "called away")
	}
}

// stepsOn are the steps of a walk in its order.
func stepsOn(w *pb.Walk) (ids []string) {
	for _, h := range w.GetHalts() {
		ids = append(ids, h.GetStepIds()...)
	}
	return ids
}

// ahead are the steps that wait from the one in the light on, in the order in which they are asked.
func ahead(v *round.View) (ids []string) {
	from := max(v.Round.Current, 0)
	for _, m := range slices.Concat(v.Round.Marks[from:], v.Round.Marks[:from]) {
		if m.State == round.MarkOpen || m.State == round.MarkAgain {
			ids = append(ids, m.StepID)
		}
	}
	return ids
}

func (tab *hands) plan(vehicle string) (ids []string) {
	for _, s := range tab.kit.Plan(vehicle, shift).GetSteps() {
		ids = append(ids, s.GetStepId())
	}
	return ids
}

// walkFrom is the best way from a step through some others, by the planner.
func (tab *hands) walkFrom(req *pb.GetWalkRequest, through []string) []string {
	tab.t.Helper()
	for _, id := range tab.plan(req.GetVehicle()) {
		if !slices.Contains(through, id) {
			req.Done = append(req.Done, id)
		}
	}
	req.Routine = shift
	resp, err := tab.kit.GetWalk(ctx, req)
	if err != nil {
		tab.t.Fatal(err)
	}
	return stepsOn(resp.GetWalk())
}

// An undisturbed round is asked in the plan's order, whatever is answered, corrected or taken back.
func TestDesk_AnUndisturbedRoundKeepsThePlansOrder(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	plan := tab.plan(wn11)
	for i := range 4 {
		v := tab.View()
		if got := ahead(v); !slices.Equal(got, plan[i:]) || v.Step.NewWay != "" {
			t.Fatalf("step %d, told %q: %q", i, v.Step.NewWay, got)
		}
		tab.sound()
	}
	tab.act("undo")
	tab.sound()
	tab.act("correct", "step", plan[1])
	tab.sound()
	tab.act("skip", "reason", "not_reachable")
	tab.act("next")
	tab.act("previous")
	if got := ahead(tab.View()); !slices.Equal(got, plan[5:]) {
		t.Errorf("then %q", got)
	}
}

// Whoever comes or leaves: the rest is in the order of the best way from where the driver
// stands, the step in the light stays, and a tablet that starts again knows it.
func TestDesk_TheWayFollowsTheAssistant(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	for range 3 {
		tab.sound()
	}
	lit := tab.View().Step.StepId
	for _, assistant := range []string{"", "people/quellmere"} {
		v := tab.act("assistant", "person", assistant)
		if v.Step.StepId != lit || v.Step.NewWay == "" {
			t.Fatalf("assistant %q: at %s, told %q", assistant, v.Step.StepId, v.Step.NewWay)
		}
		want := tab.walkFrom(&pb.GetWalkRequest{Vehicle: wn11, Alone: assistant == "", AtStep: lit}, tab.plan(wn11)[4:])
		if got := ahead(v); !slices.Equal(got, append([]string{lit}, want...)) {
			t.Errorf("assistant %q: %q, want %q", assistant, got, want)
		}
		tab.reopen()
		if got := ahead(tab.View()); !slices.Equal(got, ahead(v)) {
			t.Errorf("assistant %q, started again: %q, before %q", assistant, got, ahead(v))
		}
	}
	if v := tab.sound(); v.Step.NewWay != "" {
		t.Errorf("it is told again: %q", v.Step.NewWay)
	}
}

// Who begins alone is led by the way for one alone; nothing has changed that could be told.
func TestDesk_AloneHasAWayOfItsOwn(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	v := tab.View()
	want := tab.walkFrom(&pb.GetWalkRequest{Vehicle: wn11, Alone: true}, tab.plan(wn11))
	if got := ahead(v); !slices.Equal(got, want) || slices.Equal(want, tab.plan(wn11)) || v.Step.NewWay != "" {
		t.Errorf("told %q: %q, want %q", v.Step.NewWay, got, want)
	}
	name := v.Round.Name
	tab.sound()
	tab.act("home")
	tab.act("resume-round", "round", name)
	tab.act("assistant", "person", "")
	tab.act("engine", "minutes", "600")
	if v = tab.act("begin"); !slices.Equal(ahead(v), want[1:]) || v.Step.NewWay != "" {
		t.Errorf("taken up again, told %q: %q", v.Step.NewWay, ahead(v))
	}
}

// A step that was passed by comes back; one that was jumped to is where the driver stands.
func TestDesk_TheWayFollowsTheDriver(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	plan := tab.plan(wn11)
	for range 12 {
		tab.sound()
	}
	passed := tab.View().Step.StepId
	v := tab.act("next")
	if v.Step.StepId == passed {
		t.Fatal("it stays")
	}
	at := v.Step.StepId
	v = tab.sound()
	if v.Step.StepId == passed || !slices.Contains(ahead(v), passed) {
		t.Errorf("at %s, ahead %q", v.Step.StepId, ahead(v))
	}
	if got := len(ahead(v)); got != len(plan)-13 {
		t.Errorf("after %s %d steps are ahead of %d", at, got, len(plan))
	}
	tab.act("go", "step", atWindscreen)
	through := slices.DeleteFunc(ahead(v), func(id string) bool { return id == atWindscreen })
	v = tab.sound()
	rest := slices.DeleteFunc(ahead(v), func(id string) bool { return id == passed })
	want := slices.DeleteFunc(tab.walkFrom(&pb.GetWalkRequest{Vehicle: wn11, AtStep: atWindscreen}, through), func(id string) bool { return id == passed })
	if !slices.Equal(rest, want) {
		t.Errorf("from the windscreen %q, want %q", rest, want)
	}
}

// With a warm engine what needs it cold waits, and the way leads to the rest; when it is
// cold it is on the way again.
func TestDesk_TheWayFollowsTheEngine(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	for range 11 {
		tab.sound()
	}
	lit := tab.View().Step.StepId
	v := tab.act("engine", "minutes", "1")
	if v.Step.StepId != lit {
		t.Fatalf("at %s", v.Step.StepId)
	}
	want := tab.walkFrom(&pb.GetWalkRequest{Vehicle: wn11, AtStep: lit}, ahead(v)[1:])
	if got := ahead(v); !slices.Equal(got[1:], want) {
		t.Errorf("warm: %q, want %q", got, want)
	}
	tab.later(4 * time.Hour)
	v = tab.sound()
	if !slices.Contains(ahead(v), atOilLevel) || v.Step.NewWay == "" {
		t.Errorf("cold, told %q: %q", v.Step.NewWay, ahead(v))
	}
	want = tab.walkFrom(&pb.GetWalkRequest{Vehicle: wn11, AtStep: lit}, ahead(v))
	if got := ahead(v); !slices.Equal(got, want) {
		t.Errorf("cold: %q, want %q", got, want)
	}
}
