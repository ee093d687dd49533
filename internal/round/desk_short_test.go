package round_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

const wn32 = "vehicles/wn32"

// before comes to what must be known before the first step.
func (tab *hands) before(vehicle, assistant string) *round.View {
	tab.t.Helper()
	tab.act("choose", "vehicle", vehicle, "routine", shift)
	tab.act("sign-in", "person", "people/arkwith", "pin", "2468")
	tab.act("assistant", "person", assistant)
	return tab.act("engine", "minutes", "600")
}

// skipAll leaves every step that is asked not checked, and returns them in their order.
func (tab *hands) skipAll() (asked []string) {
	tab.t.Helper()
	for v := tab.View(); v.Phase == round.PhaseStep; v = tab.View() {
		asked = append(asked, v.Step.StepId)
		tab.act("skip", "reason", "not_reachable")
	}
	return asked
}

// A short round says before it begins how long what must not be missed takes, and what it leaves
// out; it asks that, and no more; what it left out is open and can be gone on with.
func TestDesk_AShortRound(t *testing.T) {
	tab := newHands(t)
	v := tab.before(wn11, "people/quellmere")
	must, err := tab.kit.GetWalk(ctx, &pb.GetWalkRequest{Vehicle: wn11, Routine: shift, WithinS: 1})
	if err != nil {
		t.Fatal(err)
	}
	w := must.GetWalk()
	if got, want := v.Before.Time.Must.Seconds(), w.GetLookingS()+w.GetWalkingS()+w.GetChangingS(); got < want-0.5 || got > want+0.5 {
		t.Errorf("what must not be missed takes %v s, by the planner %v s", got, want)
	}
	if tm := v.Before.Time; len(tm.Minutes) == 0 || tm.Chosen != 0 || len(tm.LeftOut) != 0 || time.Duration(tm.Minutes[0])*time.Minute < tm.Must || tm.Takes != tm.Whole {
		t.Fatalf("offered is %+v", tm)
	}
	tab.refused("MINUTES_WRONG", "minutes", "minutes", "3")
	tab.act("minutes", "minutes", "15")
	tab.reopen()
	v = tab.View()
	leftOut := v.Before.Time.LeftOut
	if v.Before.Time.Chosen != 15 || len(leftOut) == 0 || v.Before.Time.Takes > 15*time.Minute {
		t.Fatalf("chosen is %+v", v.Before.Time)
	}
	v = tab.act("begin")
	if v.Step.NewWay != "" {
		t.Errorf("told at the first step: %q", v.Step.NewWay)
	}
	asked := tab.skipAll()
	v = tab.View()
	plan := tab.plan(wn11)
	if v.Phase != round.PhaseOverview || len(asked)+len(leftOut) != len(plan) || len(v.Closing.Left) != len(leftOut) || v.Closing.Minutes != 15 {
		t.Fatalf("%d of %d were asked, %d are left, %d were to be; minutes %d", len(asked), len(plan), len(v.Closing.Left), len(leftOut), v.Closing.Minutes)
	}
	for _, m := range v.Closing.Left {
		if !m.NoTime || m.Answer != "" || m.State != round.MarkOpen || slices.Contains(asked, m.StepID) {
			t.Errorf("left is %+v", m)
		}
	}
	for _, s := range tab.kit.Plan(wn11, shift).GetSteps() {
		if s.GetMustNotMiss() && !slices.Contains(asked, s.GetStepId()) {
			t.Errorf("%s must not be missed and was not asked", s.GetStepId())
		}
	}
	if got := len(tab.results()); got != len(asked) {
		t.Errorf("%d results of %d steps that were asked", got, len(asked))
	}

	v = tab.act("walk") // there is time after all
	if v.Phase != round.PhaseStep || v.Round.Marks[v.Round.Current].NoTime || len(ahead(v)) != len(leftOut) {
		t.Fatalf("phase %d, %d ahead", v.Phase, len(ahead(v)))
	}
	rest := tab.skipAll()
	if both := append(slices.Clone(asked), rest...); len(both) != len(plan) || len(tab.View().Closing.Left) != 0 || tab.View().Closing.Minutes != 0 {
		t.Errorf("then %d of %d were asked", len(both), len(plan))
	}
}

// A short round that is signed proves nothing of what it left out, and says so to the next watch and
// in the record.
func TestDesk_AShortRoundThatIsSigned(t *testing.T) {
	tab := newHands(t)
	v := tab.before(wn32, "people/quellmere")
	minutes := v.Before.Time.Minutes[0]
	v = tab.act("minutes", "minutes", strconv.Itoa(minutes))
	leftOut := len(v.Before.Time.LeftOut)
	name := tab.act("begin").Round.Name
	tab.takeGauges()
	for v = tab.View(); v.Phase == round.PhaseStep; v = tab.View() {
		tab.sound()
	}
	v = tab.act("overview")
	if got := v.Closing.Readiness.GetVerdict(); got != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("with %d steps left out the verdict is %v", leftOut, got)
	}
	v = tab.sign()
	if got := strings.Count(v.Closing.Handover, ": no time"); got == 0 {
		t.Errorf("the hand-over names nothing that there was no time for:\n%s", v.Closing.Handover)
	}
	var note string
	for _, ev := range tab.events() {
		if e := ev.GetRoundStateChanged(); e.GetRound() == name && e.GetState() == pb.RoundState_ROUND_STATE_FINISHED {
			note = e.GetNote()
		}
	}
	if want := "Short round of " + strconv.Itoa(minutes) + " minutes; steps left out for lack of time: " + strconv.Itoa(leftOut) + "."; note != want {
		t.Errorf("the record says %q, want %q", note, want)
	}
}

// Who begins alone is told at once what cannot be done alone, and again in the overview; it is asked
// before the stop at which the vehicle is shut.
func TestDesk_WhatCannotBeDoneAloneIsNamedFirst(t *testing.T) {
	tab := newHands(t)
	v := tab.before(wn32, "")
	var ids, titles []string
	for _, s := range tab.kit.Plan(wn32, shift).GetSteps() {
		if s.GetState().GetAssistant() && s.GetAlonePrompt() == "" {
			ids, titles = append(ids, s.GetStepId()), append(titles, s.GetTitle())
		}
	}
	if len(ids) == 0 || !slices.Equal(v.Before.NotAlone, titles) {
		t.Fatalf("named is %q, want %q", v.Before.NotAlone, titles)
	}
	if got := tab.act("assistant", "person", "people/quellmere").Before.NotAlone; len(got) != 0 {
		t.Errorf("with an assistant %q is named", got)
	}
	tab.act("assistant", "person", "")
	v = tab.act("begin")
	order := ahead(v)
	closing := v.Round.Marks[len(v.Round.Marks)-1].Stop
	first := slices.IndexFunc(v.Round.Marks, func(m round.Mark) bool { return m.Stop == closing })
	for _, id := range ids {
		if at := slices.Index(order, id); at < 0 || at >= first {
			t.Errorf("%s is asked as the %d. of %d, the vehicle is shut from the %d. on", id, at, len(order), first)
		}
	}
	var left []string
	for _, m := range tab.act("overview").Closing.NotAlone {
		left = append(left, m.StepID)
	}
	slices.Sort(left)
	slices.Sort(ids)
	if !slices.Equal(left, ids) {
		t.Errorf("the overview names %q, want %q", left, ids)
	}
}
