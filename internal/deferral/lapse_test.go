package deferral

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"
)

// A deferral is warned of from the first instant its pack names, else 24 h before its end
// (common practice), and up to the second before its end.
func TestLapsing_FromTheFirstWarningToTheEnd(t *testing.T) {
	ends := time.Date(2026, 10, 25, 1, 5, 0, 0, time.UTC)
	of := func(warned ...time.Duration) *pb.Defect {
		d := &pb.Defect{State: pb.DefectState_DEFECT_STATE_DEFERRED, Deferral: &pb.Deferral{Expires: timestamppb.New(ends)}}
		for _, before := range warned {
			d.Deferral.WarnFrom = append(d.Deferral.WarnFrom, timestamppb.New(ends.Add(-before)))
		}
		return d
	}
	over := of()
	over.State = pb.DefectState_DEFECT_STATE_ACKNOWLEDGED
	for _, tc := range []struct {
		name   string
		defect *pb.Defect
		before time.Duration // its end
		want   bool
	}{
		{"the pack names two: before the first", of(48*time.Hour, 4*time.Hour), 48*time.Hour + time.Second, false},
		{"the pack names two: at the first", of(48*time.Hour, 4*time.Hour), 48 * time.Hour, true},
		{"the pack names none: before a day", of(), 24*time.Hour + time.Second, false},
		{"the pack names none: a day", of(), 24 * time.Hour, true},
		{"the last second", of(), time.Second, true},
		{"its end", of(), 0, false},
		{"it does not wait any more", over, time.Second, false},
		{"it was never deferred", &pb.Defect{State: pb.DefectState_DEFECT_STATE_OPEN}, time.Second, false},
	} {
		if got := len(Lapsing([]*pb.Defect{tc.defect}, ends.Add(-tc.before))) == 1; got != tc.want {
			t.Errorf("%s: %t, want %t", tc.name, got, tc.want)
		}
	}
	later := of(48 * time.Hour)
	later.Deferral.Expires = timestamppb.New(ends.Add(time.Minute))
	first := of()
	if all := Lapsing([]*pb.Defect{later, first}, ends.Add(-time.Second)); len(all) != 2 || all[0] != first {
		t.Error("the soonest does not come first")
	}
}
