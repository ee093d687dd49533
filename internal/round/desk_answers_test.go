package round_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// signsIn has somebody choose WN11 and sign in there.
func (tab *hands) signsIn(person string) *round.View {
	tab.t.Helper()
	tab.act("sign-out")
	tab.act("choose", "vehicle", wn11, "routine", shift)
	return tab.act("sign-in", "person", person, "pin", "2468")
}

// findsAtWindscreen records a fault that a look alone does not close.
func (tab *hands) findsAtWindscreen() {
	tab.t.Helper()
	for _, id := range faultsOf(tab.goTo(atWindscreen).Step) {
		tab.act("see", "condition", id)
		tab.look()
		if f := tab.record().Given.Findings; len(f) > 0 && !f[0].GetRecheckCloses() {
			return
		}
		tab.goTo(atWindscreen)
	}
	tab.t.Fatal("every fault here is closed by a look; take another step")
}

// Who comes back into a round after a turnout is shown what became of the own reports.
func TestDesk_AnswersAreThereAfterATurnout(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	tab.findsAtWindscreen()
	tab.act("turnout")
	if v := tab.act("back"); v.Phase != round.PhaseBefore || v.Answers == nil || len(v.Answers.All) != 1 {
		t.Errorf("phase %v, answers %t", v.Phase, v.Answers != nil)
	}
}

// Whoever reported a defect is shown once, after signing in, what became of it, with a
// name and a date; from then on the start page says so until it was read; read, it is not
// shown again before something else becomes of it. Source: the contract of
// Acknowledgement (a name and a date); asked without an answer for a day, common practice.
func TestDesk_ReportersAreAnswered(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	tab.findsAtWindscreen()
	tab.act("home")
	found := tab.View().Answers
	if len(found.All) != 1 || found.New != 0 || found.Open {
		t.Fatalf("just reported: %+v", found)
	}
	defect := found.All[0].GetName()
	if v := tab.signsIn("people/arkwith"); v.Answers.Open || v.Answers.New != 0 {
		t.Errorf("reported a moment ago, nobody has had time to answer: %+v", v.Answers)
	}
	tab.act("sign-out")

	tab.clock.Advance(24*time.Hour - time.Minute)
	if v := tab.signsIn("people/arkwith"); v.Answers.New != 0 {
		t.Error("less than a day without an answer is told unasked")
	}
	tab.clock.Advance(time.Minute + time.Second)
	if v := tab.signsIn("people/arkwith"); v.Answers.New != 1 || !v.Answers.Open || v.Answers.All[0].GetAcknowledgement() != nil {
		t.Fatalf("a day without an answer: %+v", v.Answers)
	}
	if v := tab.act("answers-later"); v.Answers.Open || v.Answers.New != 1 {
		t.Errorf("later: %+v", v.Answers)
	}
	tab.act("home")
	if v := tab.act("answers"); !v.Answers.Open {
		t.Error("the start page does not lead there")
	}
	tab.refused("ANSWERS_CHANGED", "answers-read", "seen", "0011223344556677")
	if v := tab.act("answers-read", "seen", tab.View().Answers.Seen); v.Answers.New != 0 || v.Answers.Open || len(v.Answers.All) != 1 {
		t.Errorf("read: %+v", v.Answers)
	}
	tab.reopen()
	if v := tab.signsIn("people/arkwith"); v.Answers.New != 0 || v.Answers.Open {
		t.Error("what was read is not kept")
	}

	at := tab.clock.Now()
	if _, err := tab.kit.AcknowledgeDefect(ctx, &pb.AcknowledgeDefectRequest{RequestId: tab.kit.ID(), Defect: defect, Person: "people/steddow", Planned: timestamppb.New(at.Add(48 * time.Hour)), Note: "glass is ordered"}); err != nil {
		t.Fatal(err)
	}
	seen := tab.View().Answers.Seen
	tab.await(func(v *round.View) bool { return v.Answers.New == 1 })
	if tab.View().Answers.Open {
		t.Error("an answer that comes in takes the screen away from who is using it")
	}
	tab.act("answers")
	tab.refused("ANSWERS_CHANGED", "answers-read", "seen", seen)
	if v := tab.signsIn("people/quellmere"); v.Answers.New != 0 || len(v.Answers.All) != 0 || v.Answers.Open {
		t.Errorf("somebody else is told: %+v", v.Answers)
	}
	v := tab.signsIn("people/arkwith")
	if a := v.Answers.All[0]; !v.Answers.Open || !a.New || a.GetAcknowledgement().GetPerson() != "people/steddow" || a.CallSign != "WN11" {
		t.Fatalf("answered: %+v", v.Answers)
	}
	tab.act("answers-read", "seen", v.Answers.Seen)

	tab.clock.Advance(time.Minute)
	if _, err := tab.kit.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: tab.kit.ID(), Defect: defect, Person: "people/steddow", Done: "glass replaced"}); err != nil {
		t.Fatal(err)
	}
	if v := tab.signsIn("people/arkwith"); !v.Answers.Open || v.Answers.All[0].GetRepair().GetDone() != "glass replaced" {
		t.Errorf("repaired: %+v", v.Answers)
	}
	tab.act("answers-read", "seen", tab.View().Answers.Seen)
	tab.act("home")
	tab.begin(wn11, shift, "")
	tab.goTo(atWindscreen)
	tab.sound()
	tab.act("home")
	v = tab.signsIn("people/arkwith")
	if a := v.Answers.All[0]; !v.Answers.Open || a.GetState() != pb.DefectState_DEFECT_STATE_CLOSED || a.GetClosedBy() == "" {
		t.Errorf("closed: %+v", v.Answers)
	}
	tab.act("answers-read", "seen", v.Answers.Seen)
	tab.clock.Advance(60*24*time.Hour + time.Minute)
	if v := tab.signsIn("people/arkwith"); len(v.Answers.All) != 0 {
		t.Errorf("60 days after it was closed: %+v", v.Answers.All)
	}
}

// What somebody found and put right alone needs no answer.
func TestDesk_NobodyIsAnsweredForWhatWasPutRightAtOnce(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	tab.goTo(atOilLevel)
	tab.act("level", "mark", "below")
	tab.look()
	tab.record()
	tab.act("cure", "step", atOilLevel, "done", "filled up", "amount", "1.5", "unit", "L")
	tab.look()
	tab.act("level", "mark", "between", "fraction", "1")
	tab.record()
	tab.act("home")
	if all := tab.View().Answers.All; len(all) > 0 {
		t.Errorf("told of what was put right by oneself: %v", all[0])
	}
}

// Whoever reported a fault hears that its repair did not hold, also when that person then puts
// it right alone: the workshop had a part in it.
func TestDesk_ARepairThatDidNotHoldIsTold(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "")
	tooLow := func() {
		t.Helper()
		tab.goTo(atOilLevel)
		tab.act("level", "mark", "below")
		tab.look()
		tab.record()
	}
	tooLow()
	defect := tab.kit.Readiness(wn11).GetOpenDefects()[0].GetName()
	tab.clock.Advance(time.Minute)
	if _, err := tab.kit.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: tab.kit.ID(), Defect: defect, Person: "people/steddow", Done: "filled up"}); err != nil {
		t.Fatal(err)
	}
	tab.clock.Advance(time.Minute)
	tooLow()
	v := tab.signsIn("people/arkwith")
	if len(v.Answers.All) != 1 || !v.Answers.Open || !v.Answers.All[0].New || v.Answers.All[0].GetRepair() != nil || len(v.Answers.All[0].GetEarlier()) != 1 {
		t.Fatalf("found again after the repair: %d answers, %d new", len(v.Answers.All), v.Answers.New)
	}
	tab.act("answers-read", "seen", v.Answers.Seen)
	tab.act("home")
	tab.begin(wn11, shift, "")
	tooLow()
	tab.act("cure", "step", atOilLevel, "done", "filled up", "amount", "1.5", "unit", "L")
	tab.look()
	tab.act("level", "mark", "between", "fraction", "1")
	tab.record()
	tab.act("home")
	if v := tab.signsIn("people/arkwith"); len(v.Answers.All) != 1 || !v.Answers.All[0].New {
		t.Errorf("put right alone after the repair: %d answers, %d new", len(v.Answers.All), v.Answers.New)
	}
}
