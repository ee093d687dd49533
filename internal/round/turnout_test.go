package round_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// walkTo answers soundly until a stop of the walk is reached.
func (tab *hands) walkTo(stop string) *round.View {
	tab.t.Helper()
	v := tab.View()
	for v.Phase == round.PhaseStep && v.Step.Stop != stop {
		v = tab.sound()
	}
	if v.Phase != round.PhaseStep {
		tab.t.Fatalf("the walk does not come to %s", stop)
	}
	return v
}

// roundOf is the round in hand as the twin has it.
func (tab *hands) roundOf(name string) *pb.Round {
	tab.t.Helper()
	resp, err := tab.kit.GetRound(ctx, &pb.GetRoundRequest{Name: name})
	if err != nil {
		tab.t.Fatal(err)
	}
	return resp.GetRound()
}

func TestTurnout_PausesAndShowsWhatMustBePutBack(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.walkTo("engine-cold")
	name := tab.View().Round.Name
	tab.act("go", "step", atBattery) // begun, not answered
	tab.act("key", "key", "2")
	tab.act("go", "step", atOilLevel)
	tab.act("level", "mark", "below")
	v := tab.act("turnout")
	if v.Phase != round.PhaseTurnout || tab.roundOf(name).GetState() != pb.RoundState_ROUND_STATE_PAUSED {
		t.Fatalf("phase %d, round %v", v.Phase, tab.roundOf(name).GetState())
	}
	items := v.Turnout.Items
	if len(items) != 2 || items[0].StepID != atOilLevel || items[1].StepID != atBattery || v.Turnout.DebtS != 40 || items[0].UndoS != 20 || items[0].Place == "" {
		t.Errorf("to be put back: %+v, %d s", items, v.Turnout.DebtS)
	}
	if v.Turnout.Verdict != tab.kit.Readiness(wn11).GetVerdict() || v.Turnout.Verdict == 0 {
		t.Errorf("it leaves on %v", v.Turnout.Verdict)
	}
	var told *pb.RoundStateChanged
	for _, ev := range tab.events() {
		if e := ev.GetRoundStateChanged(); e != nil {
			told = e
		}
	}
	if !told.GetTurnout() || told.GetState() != pb.RoundState_ROUND_STATE_PAUSED {
		t.Errorf("the record says %v", told)
	}
	v = tab.act("safe", "step", atOilLevel)
	if !v.Turnout.Items[0].Done || v.Turnout.Items[1].Done || v.Turnout.DebtS != 20 {
		t.Errorf("after one was put back: %+v", v.Turnout)
	}
	tab.act("safe", "step", atOilLevel) // touched twice
	tab.act("turnout")                  // likewise
	tab.refused("NOT_UNDONE", "safe", "step", atWindscreen)

	// Nobody is held up, and nothing is said that nobody said.
	if got := tab.refused("STILL_UNDONE", "away"); !strings.Contains(got, "Battery voltage at rest (battery box)") {
		t.Errorf("said %q", got)
	}
	v = tab.View()
	if v.Turnout.Away.IsZero() || v.Turnout.DebtS != 20 {
		t.Errorf("away %v, debt %d s", v.Turnout.Away, v.Turnout.DebtS)
	}
}

func TestTurnout_TheRunIsAskedAboutOnReturn(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.walkTo("nearside")
	for _, step := range []string{atOilLevel, "CAB-020/driver-seat", atWindscreen, "GLS-030/mirror-nearside", "TYR-020/axle-1-nearside"} {
		tab.act("go", "step", step)
		tab.sound()
	}
	v := tab.View()
	interrupted := v.Step.Stop
	answered := map[string]bool{}
	for _, m := range v.Round.Marks {
		answered[m.StepID] = m.State == round.MarkAnswered
	}
	tab.act("turnout")
	tab.act("away")
	tab.clock.Advance(40 * time.Minute)
	if v = tab.act("back"); v.Phase != round.PhaseSignIn || v.Session != nil {
		t.Fatalf("phase %d; signed in after so long: %v", v.Phase, v.Session)
	}
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	v = tab.act("assistant", "person", "people/quellmere")
	tab.takeGauges()
	if v.Phase != round.PhaseBefore || !v.Before.Resuming || v.Before.EngineStopped != nil || v.Before.Unknown || v.Before.Running {
		t.Fatalf("phase %d, before %+v", v.Phase, v.Before)
	}
	tab.refused("ENGINE_NOT_SAID", "begin")
	tab.act("engine", "minutes", "2")
	v = tab.act("begin")
	if v.Phase != round.PhaseStep || tab.roundOf(v.Round.Name).GetState() != pb.RoundState_ROUND_STATE_OPEN {
		t.Fatalf("phase %d", v.Phase)
	}
	steps := map[string]*pb.CheckStep{}
	for _, s := range tab.kit.Plan(wn11, shift).GetSteps() {
		steps[s.GetStepId()] = s
	}
	for step, want := range map[string]round.MarkState{
		atOilLevel:                round.MarkCold,     // asked again, when it is cold
		atFloor:                   round.MarkAgain,    // the vehicle stands anew
		"TYR-020/axle-1-nearside": round.MarkAgain,    // tyres were run on
		"GLS-030/mirror-nearside": round.MarkAgain,    // of the halt that was broken off
		"CAB-020/driver-seat":     round.MarkAnswered, // a belt is as it was
		atWindscreen:              round.MarkAnswered,
		atStopLamp:                round.MarkOpen,
	} {
		if got := markOf(v, step).State; got != want {
			t.Errorf("%s is marked %d, want %d", step, got, want)
		}
	}
	for _, m := range v.Round.Marks {
		if answered[m.StepID] && steps[m.StepID].GetStop() == interrupted && m.State == round.MarkAnswered {
			t.Errorf("%s belongs to the halt that was broken off and is not asked again", m.StepID)
		}
		if !answered[m.StepID] && m.State == round.MarkAgain {
			t.Errorf("%s was never answered and is asked again", m.StepID)
		}
	}

	// What comes first on return stands before the vehicle is touched; then the
	// walk goes on by the best way through all that is left, from the cab.
	if v.Step.Stop != "before-you-start" {
		t.Errorf("it goes on at %s", v.Step.Stop)
	}
	if v.Step.NewWay == "" {
		t.Error("nobody is told that the way is another")
	}
	req := &pb.GetWalkRequest{Vehicle: wn11, Routine: shift}
	for _, m := range v.Round.Marks {
		if m.State != round.MarkOpen && m.State != round.MarkAgain {
			req.Done = append(req.Done, m.StepID)
		}
	}
	best, err := tab.kit.GetWalk(ctx, req)
	if err != nil {
		t.Fatal(err)
	}
	if want, got := stepsOn(best.GetWalk()), ahead(v); !slices.Equal(got, want) {
		t.Errorf("it is asked in the order %q, the best is %q", got, want)
	}

	// An answer that is asked again is a new answer and corrects nothing.
	tab.act("go", "step", atStopLamp)
	tab.act("go", "step", "TYR-020/axle-1-nearside")
	v = tab.View()
	if v.Step.Correcting {
		t.Error("it is opened as a correction")
	}
	tab.sound()
	if got := tab.last(); got.GetCorrection() || got.GetStepId() != "TYR-020/axle-1-nearside" {
		t.Errorf("recorded %v", got)
	}
	if got := markOf(tab.View(), "TYR-020/axle-1-nearside").State; got != round.MarkAnswered {
		t.Errorf("then it is marked %d", got)
	}
	tab.clock.Advance(13 * time.Minute)
	if err := tab.Tick(ctx); err != nil {
		t.Fatal(err)
	}
	if got := markOf(tab.View(), atOilLevel).State; got != round.MarkAgain {
		t.Errorf("when the engine is cold the oil is marked %d", got)
	}
}

func TestTurnout_CalledOffNothingIsAskedAgain(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.walkTo("cab-off")
	tab.act("turnout")
	tab.clock.Advance(time.Minute)
	tab.act("back") // the vehicle never left
	tab.act("engine", "minutes", "602")
	v := tab.act("begin")
	for _, m := range v.Round.Marks {
		if m.State == round.MarkAgain || m.State == round.MarkCold {
			t.Errorf("%s is marked %d", m.StepID, m.State)
		}
	}
	if v.Step.Stop != "cab-off" {
		t.Errorf("it goes on at %s", v.Step.Stop)
	}
}

func TestTurnout_FromAnyPhase(t *testing.T) {
	tab := newHands(t)
	if v := tab.act("turnout"); v.Phase != round.PhaseTurnout || len(v.Turnout.Items) != 0 {
		t.Errorf("from the vehicles: %+v", v.Turnout)
	}
	if v := tab.act("away"); v.Phase != round.PhaseVehicles {
		t.Errorf("then phase %d", v.Phase)
	}
	tab.act("choose", "vehicle", wn11, "routine", shift)
	if v := tab.act("turnout"); v.Phase != round.PhaseTurnout || v.Chosen.Configuration.GetName() != wn11 {
		t.Errorf("from signing in: phase %d", v.Phase)
	}
	if v := tab.act("back"); v.Phase != round.PhaseVehicles {
		t.Errorf("then phase %d", v.Phase)
	}
	for _, from := range []string{"overview", "sign-page"} {
		tab.begin(wn11, shift, "")
		tab.act("overview")
		tab.act(from)
		if v := tab.act("turnout"); v.Phase != round.PhaseTurnout || v.Round == nil {
			t.Errorf("from %s: phase %d", from, v.Phase)
		}
		tab.act("away")
		tab.act("back")
		v := tab.act("turnout") // again, before the first step
		if v.Phase != round.PhaseTurnout || v.Round == nil {
			t.Errorf("from before the first step: phase %d", v.Phase)
		}
		tab.act("away")
		tab.act("back")
		tab.act("engine", "minutes", "1")
		if v = tab.act("begin"); v.Phase != round.PhaseStep {
			t.Errorf("then phase %d", v.Phase)
		}
		tab.act("home")
	}
	tab.begin(wn11, shift, "")
	tab.act("overview")
	tab.sign()
	if v := tab.act("turnout"); v.Phase != round.PhaseTurnout || v.Round != nil {
		t.Errorf("from the hand-over: phase %d, with a round: %t", v.Phase, v.Round != nil)
	}
	if v := tab.act("away"); v.Phase != round.PhaseVehicles || v.Notice != nil {
		t.Errorf("then phase %d, notice %v", v.Phase, v.Notice)
	}
}

func TestTurnout_OnReturnSomebodySignsIn(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	tab.act("turnout")
	if v := tab.elapse(4 * time.Minute); v.Session == nil {
		t.Error("somebody is signed out while the vehicle is made safe")
	}
	tab.act("away")
	v := tab.elapse(4 * time.Minute)
	if v.Session != nil || v.Phase != round.PhaseTurnout || v.Turnout.Away.IsZero() {
		t.Fatalf("while it is away: session %v, phase %d", v.Session, v.Phase)
	}
	if v = tab.act("back"); v.Phase != round.PhaseSignIn {
		t.Errorf("back: phase %d", v.Phase)
	}
	tab.act("sign-in", "person", "people/venholt", "pin", "2468")
	if v = tab.act("assistant", "person", ""); v.Phase != round.PhaseBefore || !v.Before.Resuming {
		t.Errorf("then phase %d, before %+v", v.Phase, v.Before)
	}
	tab.act("engine", "minutes", "1")
	tab.act("begin")
	tab.sound()
	if got := tab.last().GetPerson(); got != "people/venholt" {
		t.Errorf("recorded by %s", got)
	}
}

// A tablet dies in the middle of a round: another one goes on with it, from what
// is in the record.
func TestDesk_AnotherTabletGoesOn(t *testing.T) {
	clock := stationtest.NewClock()
	kit := stationtest.OpenDemoInMorning(t, clock)
	first, second := handsOn(t, kit, clock), handsOn(t, kit, clock)
	first.begin(wn11, shift, "people/quellmere")
	first.walkTo("engine-cold")
	was := first.View()
	second.renew()
	v := second.View()
	var open []*pb.Round
	for _, vehicle := range v.Vehicles {
		open = append(open, vehicle.Resumable...)
	}
	if len(open) != 1 || open[0].GetName() != was.Round.Name {
		t.Fatalf("the other tablet can go on with %v", open)
	}
	second.act("resume-round", "round", was.Round.Name)
	second.act("sign-in", "person", "people/venholt", "pin", "2468")
	second.act("assistant", "person", "people/quellmere")
	second.act("engine", "minutes", "605")
	v = second.act("begin")
	if v.Step.StepId != was.Step.StepId || v.Round.Answered != was.Round.Answered {
		t.Errorf("it goes on at %s with %d answered; it was at %s with %d", v.Step.StepId, v.Round.Answered, was.Step.StepId, was.Round.Answered)
	}
	for i, m := range v.Round.Marks {
		if m.State != was.Round.Marks[i].State || m.Answer != was.Round.Marks[i].Answer {
			t.Errorf("%s is %d %q here and %d %q there", m.StepID, m.State, m.Answer, was.Round.Marks[i].State, was.Round.Marks[i].Answer)
		}
	}
	second.act("gauge", "gauge", "gauges/v-01")
	second.sound()
	second.act("overview")
	second.sign()

	// The first one learns that the round has ended.
	first.renew()
	v = first.View()
	if v.Phase != round.PhaseVehicles || v.Notice == nil || v.Notice.Reason != "ROUND_ENDED" {
		t.Errorf("phase %d, notice %v", v.Phase, v.Notice)
	}
}

// renew waits until the view has caught up with the twin.
func (tab *hands) renew() {
	tab.t.Helper()
	for {
		changed := tab.Changed()
		caughtUp := true
		for _, vehicle := range tab.View().Vehicles {
			name := vehicle.Configuration.GetName()
			caughtUp = caughtUp && vehicle.Readiness.GetSequence() == tab.kit.Readiness(name).GetSequence()
		}
		if caughtUp {
			return
		}
		<-changed
	}
}
