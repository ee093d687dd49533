package station

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "bayround/proto/bayround/v1"
)

func pointAt(minute int, value float64) *pb.SeriesPoint {
	return &pb.SeriesPoint{LookedAt: timestamppb.New(time.Unix(int64(minute)*60, 0)), Value: value}
}

// In whatever order points come: what is kept is the newest by when somebody
// looked, of those at one instant the one that came later being the later one,
// and what is written leads to the same when it is read.
func TestMeasured_KeepsTheNewestInOrder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var m *measured
		var all []*pb.SeriesPoint
		var settled, fresh []*pb.SeriesPoint
		for i := range rapid.IntRange(1, 150).Draw(rt, "points") {
			p := pointAt(i+rapid.SampledFrom([]int{0, 0, 0, 0, 1, -1, -3, -70}).Draw(rt, "late"), float64(i))
			next := m.with(p, time.Time{})
			if next != m {
				if points := next.points(); next.fresh > 0 {
					fresh = points[len(points)-next.fresh:]
				} else {
					settled, fresh = points, nil
				}
			}
			m = next
			if n := len(all); n < maxPoints || !p.GetLookedAt().AsTime().Before(all[0].GetLookedAt().AsTime()) {
				all = append(all, p)
			}
			slices.SortStableFunc(all, func(a, b *pb.SeriesPoint) int { return a.GetLookedAt().AsTime().Compare(b.GetLookedAt().AsTime()) })
			all = all[max(0, len(all)-maxPoints):]
		}
		read := slices.Concat(settled, fresh)
		read = read[max(0, len(read)-maxPoints):]
		for what, got := range map[string][]*pb.SeriesPoint{"kept": m.points(), "written": read} {
			if d := cmp.Diff(all, got, protocmp.Transform()); d != "" {
				rt.Fatalf("%s (sorted: -, %s: +)\n%s", what, what, d)
			}
		}
	})
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
