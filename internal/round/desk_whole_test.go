package round_test

import (
	"strings"
	"testing"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// walkSoundly answers soundly until nothing is left, and returns what was found.
func (tab *hands) walkSoundly() (found []string) {
	tab.t.Helper()
	steps := len(tab.View().Round.Marks)
	for n := 0; tab.View().Phase == round.PhaseStep; n++ {
		if n > steps {
			tab.t.Fatalf("more answers than steps: %d", n)
		}
		before := tab.View().Step
		v := tab.sound()
		if v.Given == nil || v.Given.StepID != before.StepId || !v.Given.Undo {
			tab.t.Fatalf("%s: the view gives %+v", before.StepId, v.Given)
		}
		for _, f := range v.Given.Findings {
			found = append(found, before.StepId+": "+f.GetText())
		}
	}
	return found
}

// sign signs the round and returns the view with the hand-over.
func (tab *hands) sign() *round.View {
	tab.t.Helper()
	tab.act("sign-page")
	v := tab.act("sign", "pin", "2468")
	if v.Phase != round.PhaseHandover || v.Closing == nil {
		tab.t.Fatalf("phase %d after signing", v.Phase)
	}
	return v
}

func TestDesk_SoundRoundsOfTheNewestPumpMakeItFit(t *testing.T) {
	tab := newHands(t)
	tab.begin("vehicles/wn11", "routines/shift", "people/quellmere")
	steps := len(tab.View().Round.Marks)
	if found := tab.walkSoundly(); len(found) > 0 {
		t.Errorf("found %v", found)
	}
	v := tab.View()
	if v.Phase != round.PhaseOverview || v.Round.Answered != steps || v.Round.NotChecked != 0 || len(v.Closing.Left) != 0 || len(v.Closing.Undone) != 0 {
		t.Fatalf("phase %d, %d of %d answered, left %v", v.Phase, v.Round.Answered, steps, v.Closing.Left)
	}
	if got := v.Closing.Readiness.GetVerdict(); got != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("verdict %v before the weekly check", got)
	}
	tab.act("hand-note", "text", "Nothing to report.")
	text := tab.sign().Closing.Handover
	for _, part := range []string{
		"WN11, shift check, Mon 2 Mar 2026 ", "Driver Tamsel Arkwith, assistant Borin Quellmere.", "Verdict: not proven (provisional: the station was not heard yet).",
		"Nobody has checked ", "From the driver: Nothing to report.",
	} {
		if !strings.Contains(text, part) {
			t.Errorf("the hand-over does not say %q:\n%s", part, text)
		}
	}

	tab.act("done")
	tab.begin("vehicles/wn11", "routines/weekly", "people/quellmere")
	if found := tab.walkSoundly(); len(found) > 0 {
		t.Errorf("found %v", found)
	}
	v = tab.sign()
	if got := v.Closing.Readiness.GetVerdict(); got != pb.Verdict_VERDICT_FIT {
		t.Errorf("verdict %v after both checks: %v", got, v.Closing.Readiness.GetReasons())
	}
	events := tab.finishEvents()
	if len(events) != 2 || events[0].GetShownVerdict() != pb.Verdict_VERDICT_UNPROVEN || events[1].GetShownVerdict() != pb.Verdict_VERDICT_FIT || events[0].GetNote() != "Nothing to report." {
		t.Errorf("the record says of the ends: %v", events)
	}
}

// finishEvents are the ends of rounds in the twin's journal.
func (tab *hands) finishEvents() (ends []*pb.RoundStateChanged) {
	tab.t.Helper()
	for _, ev := range tab.events() {
		if e := ev.GetRoundStateChanged(); e.GetState() == pb.RoundState_ROUND_STATE_FINISHED || e.GetState() == pb.RoundState_ROUND_STATE_GIVEN_UP {
			ends = append(ends, e)
		}
	}
	return ends
}

// results are the results in the twin's journal, oldest first.
func (tab *hands) results() (all []*pb.Result) {
	tab.t.Helper()
	for _, ev := range tab.events() {
		if r := ev.GetResultRecorded(); r != nil {
			all = append(all, r.GetResult())
		}
	}
	return all
}

func (tab *hands) events() (all []*pb.JournalEvent) {
	tab.t.Helper()
	err := tab.kit.Events(ctx, 0, func(ev *pb.JournalEvent) error {
		all = append(all, ev)
		return nil
	})
	if err != nil {
		tab.t.Fatal(err)
	}
	return all
}
