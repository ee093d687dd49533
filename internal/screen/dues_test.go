package screen

import (
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// someDues are a check that is coming, one that is due and one that is overdue.
func someDues(vehicle string) []*pb.RoutineDue {
	at := func(hours int) *timestamppb.Timestamp {
		return timestamppb.New(morning.AddDate(0, 0, hours/24))
	}
	return []*pb.RoutineDue{
		{Vehicle: vehicle, Title: "monthly check", State: pb.DueState_DUE_STATE_COMING, Due: at(48), Text: "monthly check due Tue 3 Mar 08:00"},
		{Vehicle: vehicle, Title: "shift check", State: pb.DueState_DUE_STATE_DUE, Due: at(-24), Text: "shift check due since Mon 2 Mar 07:30, overdue from Mon 2 Mar 08:30"},
		{Vehicle: vehicle, Title: "weekly check", State: pb.DueState_DUE_STATE_OVERDUE, Due: at(-96), Text: "weekly check overdue since Sat 28 Feb 08:00"},
	}
}

// What is due stands where the verdict has left room, and takes no word of it.
func TestStage_SaysWhatIsDueBesideTheVerdict(t *testing.T) {
	before, b := stage(wholeBay(t), false, morning), wholeBay(t)
	for _, r := range b.Vehicles {
		r.RoutineDues = someDues(r.GetVehicle())
	}
	after := stage(b, false, morning)
	said := 0
	for i, l := range after.Lines {
		was := before.Lines[i]
		if l.Word != was.Word || l.Rest != was.Rest || was.Detail != "" && l.Detail != was.Detail {
			t.Errorf("%s says %q %q %q, without dues %q %q %q", l.CallSign, l.Word, l.Rest, l.Detail, was.Word, was.Rest, was.Detail)
		}
		if was.Detail == "" && l.Detail == "Weekly check overdue since Sat 28 Feb 08:00" {
			said++
		}
	}
	if said == 0 {
		t.Error("no row has room for what is due; this test needs one")
	}
	if after.Far.Word != before.Far.Word || after.Far.Detail != before.Far.Detail {
		t.Errorf("the far layer says %+v, without dues %+v", after.Far, before.Far)
	}
	if len(after.Dues) != mostDues || len(after.Dues)+len(after.Events) > mostEvents || after.Dues[0].Text != "weekly check overdue since Sat 28 Feb 08:00" {
		t.Errorf("the foot says %v and %v", after.Dues, after.Events)
	}
	coming := wholeBay(t)
	for _, r := range coming.Vehicles {
		r.RoutineDues = someDues(r.GetVehicle())[:1]
	}
	if s := stage(coming, false, morning); len(s.Dues) != 0 {
		t.Errorf("nothing is due, the foot says %v", s.Dues)
	}
}
