package station

import (
	"slices"
	"testing"
	"time"

	pb "bayround/proto/bayround/v1"
	"google.golang.org/protobuf/types/known/timestamppb"
)

func pointAt(minute int, value float64) *pb.SeriesPoint {
	return &pb.SeriesPoint{LookedAt: timestamppb.New(time.Unix(int64(minute)*60, 0)), Value: value}
}

// After a repair the first look at the place begins anew, whichever comes first:
// the one that came first, and one before it that came late; none after it.
func TestMeasured_BeginsAnewAfterARepair(t *testing.T) {
	repaired := time.Unix(10*60, 0)
	var m *measured
	for _, minute := range []int{3, 5, 20, 30, 15, 7, 40} {
		m = m.with(pointAt(minute, 1), repaired)
	}
	var anew []int
	for _, p := range m.points() {
		if p.GetReset_() {
			anew = append(anew, int(p.GetLookedAt().AsTime().Unix()/60))
		}
	}
	if !slices.Equal(anew, []int{15, 20}) || len(m.points()) != 7 {
		t.Errorf("of %d points those at minutes %v begin anew, want those at 15 and 20", len(m.points()), anew)
	}
}

// What a result is held against is what was measured before it, and never itself.
func TestMeasured_BeforeAResult(t *testing.T) {
	var m *measured
	for _, minute := range []int{1, 2, 2, 3} {
		m = m.with(pointAt(minute, float64(len(m.points()))), time.Time{})
	}
	reading := func(minute int) *pb.Result {
		return &pb.Result{LookedAt: pointAt(minute, 0).GetLookedAt(), Answer: &pb.Result_Reading{Reading: &pb.Reading{}}}
	}
	seen := &pb.Result{LookedAt: pointAt(2, 0).GetLookedAt(), Answer: &pb.Result_Seen{Seen: &pb.ConditionsSeen{}}}
	for _, tc := range []struct {
		name string
		r    *pb.Result
		want int
	}{
		{"the newest", reading(3), 3},
		{"the later of two at one instant", reading(2), 2},
		{"the first", reading(1), 0},
		{"conditions at that instant, which measure nothing", seen, 3},
		{"before all", reading(0), 0},
	} {
		if got := m.before(tc.r); len(got.GetPoints()) != tc.want || tc.want == 0 && got != nil {
			t.Errorf("%s is held against %v, want %d points", tc.name, got, tc.want)
		}
	}
}
