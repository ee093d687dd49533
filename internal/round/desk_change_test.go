package round_test

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/round"
	pb "bayround/proto/bayround/v1"
)

// drop takes an item out of the catalogue in force, as the station may do at any time.
func (tab *hands) drop(item string) {
	tab.t.Helper()
	cut := proto.CloneOf(tab.kit.Library().GetCatalogue())
	all := len(cut.GetItems())
	cut.Items = slices.DeleteFunc(cut.GetItems(), func(it *pb.Item) bool { return it.GetId() == item })
	if len(cut.GetItems()) != all-1 {
		tab.t.Fatalf("the catalogue has no %s", item)
	}
	cut.Version += "-cut"
	_, err := tab.kit.Station.AdoptLibrary(ctx, tab.kit.ID(), &pb.StationFile{Catalogue: cut})
	must(tab.t, err)
}

// What is put in force in the middle of a round is said in a sentence, and the round
// goes on as it was begun: nothing that was answered or begun is lost.
func TestDesk_TheCatalogueChangesInTheMiddleOfARound(t *testing.T) {
	tab := newHands(t)
	tab.begin(wn11, shift, "people/quellmere")
	v := tab.act("go", "step", atWindscreen)
	steps, sound := len(v.Round.Marks), soundCondition(v.Step)
	tab.act("see", "condition", sound)
	tab.drop("GLS-010")
	v = tab.await(func(v *round.View) bool { return v.Notice != nil })
	if v.Notice.Reason != "PLAN_CHANGED" || v.Phase != round.PhaseStep || v.Step.GetStepId() != atWindscreen || len(v.Round.Marks) != steps || !v.Step.Entry.Ready {
		t.Fatalf("notice %+v, phase %v, step %v, %d of %d marks", v.Notice, v.Phase, v.Step.GetStepId(), len(v.Round.Marks), steps)
	}
	tab.look()
	v = tab.act("record")
	if got := tab.last(); got.GetStepId() != atWindscreen || v.Notice != nil || markOf(v, atWindscreen).State != round.MarkAnswered {
		t.Errorf("recorded %v, notice %+v, marked %v", got, v.Notice, markOf(v, atWindscreen).State)
	}

	// Started anew the tablet knows only what is in force now: the step it was at is
	// gone, and it says so.
	tab.act("go", "step", atWindscreen)
	answered := len(tab.results())
	tab.reopen()
	v = tab.View()
	if v.Notice == nil || v.Notice.Reason != "STEP_GONE" || v.Phase != round.PhaseOverview || len(v.Round.Marks) >= steps {
		t.Errorf("started anew: notice %+v, phase %v", v.Notice, v.Phase)
	}
	if v = tab.act("walk"); v.Step == nil || len(tab.results()) != answered {
		t.Errorf("it does not go on: %+v", v.Notice)
	}
	tab.sound()
	if len(tab.results()) != answered+1 {
		t.Error("nothing more can be recorded")
	}
}
