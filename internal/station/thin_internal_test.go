package station

import (
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	pb "bayround/proto/bayround/v1"
)

// readings are what is measured at a step at random: mostly one after the other,
// some late, some at one instant, with top-ups, and here and there anew.
type readings struct {
	all     []*pb.SeriesPoint // in order
	m       *measured
	seldom  int               // one point in so many begins anew
	late    []int             // by how much one may come out of its order
	settled []*pb.SeriesPoint // as they were written
	fresh   []*pb.SeriesPoint
}

func newReadings(rt *rapid.T) *readings {
	if rapid.Bool().Draw(rt, "often anew") { // a late one behind a dropped beginning would be before it
		return &readings{seldom: 2, late: []int{0}}
	}
	return &readings{seldom: 30, late: []int{0, 0, 0, 0, 1, -1, -3, -70}}
}

func (r *readings) read(rt *rapid.T) {
	i := len(r.all)
	p := pointAt(i+rapid.SampledFrom(r.late).Draw(rt, "late"), float64(i))
	p.Added = float64(rapid.SampledFrom([]int{0, 0, 0, 1, 7}).Draw(rt, "added"))
	p.Reset_ = rapid.IntRange(1, r.seldom).Draw(rt, "anew") == 1
	r.add(p)
}

func (r *readings) add(p *pb.SeriesPoint) {
	r.all = slices.Insert(slices.Clone(r.all), after(r.all, p.GetLookedAt().AsTime()), p)
	r.m = r.m.with(p, time.Time{})
	points := r.m.points()
	if r.m.fresh > 0 {
		r.fresh = points[len(points)-r.m.fresh:]
		return
	}
	r.settled, r.fresh = points, nil
}

func sameSeries(t interface {
	Helper()
	Fatalf(format string, args ...any)
}, what string, want, got []*pb.SeriesPoint,
) {
	t.Helper()
	if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
		t.Fatalf("%s (want: -, got: +)\n%s", what, d)
	}
}

// In whatever order points come: at most 64 are kept, in order; the newest as they
// came, and the oldest, so that the series reaches back as far as anybody read. What
// is written leads to the same when it is read.
func TestThinned_KeepsTheNewestAndReachesBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := newReadings(rt)
		for range rapid.IntRange(1, 300).Draw(rt, "points") {
			r.read(rt)
		}
		kept, all := r.m.points(), r.all
		if len(kept) > maxPoints || len(all) <= maxPoints && len(kept) != len(all) || len(all) > maxPoints && len(kept) < maxPoints-maxFresh {
			rt.Fatalf("%d points are kept of %d", len(kept), len(all))
		}
		if !slices.IsSortedFunc(kept, byLook) {
			rt.Fatalf("out of order: %v", kept)
		}
		newest := min(len(all), newestKept)
		sameSeries(rt, "the values of the newest", valuesOf(all[len(all)-newest:]), valuesOf(kept[len(kept)-newest:]))
		sameSeries(rt, "the value of the oldest", valuesOf(all[:1]), valuesOf(kept[:1]))
		sameSeries(rt, "what is read", kept, slices.Concat(r.settled, r.fresh))
	})
}

// valuesOf are points without what others may hand on to them.
func valuesOf(points []*pb.SeriesPoint) []*pb.SeriesPoint {
	all := make([]*pb.SeriesPoint, len(points))
	for i, p := range points {
		all[i] = &pb.SeriesPoint{LookedAt: p.GetLookedAt(), Value: p.GetValue()}
	}
	return all
}

// What was put in since the oldest point is told as a whole, and history begins
// anew at the first point that is kept of those since.
func TestThinned_LosesNoTopUpAndNoRepair(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := newReadings(rt)
		for range rapid.IntRange(1, 300).Draw(rt, "points") {
			r.read(rt)
		}
		put := func(points []*pb.SeriesPoint) (litres float64) {
			for _, p := range points[1:] {
				litres += p.GetAdded()
			}
			return litres
		}
		kept := r.m.points()
		if all := put(r.all); put(kept) != all {
			rt.Fatalf("%v put in, of which %v is told", all, put(kept))
		}
		stays := map[float64]*pb.SeriesPoint{} // by value: each was read once
		for _, p := range kept {
			stays[p.GetValue()] = p
		}
		for i, p := range r.all {
			if !p.GetReset_() {
				continue
			}
			first := slices.IndexFunc(r.all[i:], func(p *pb.SeriesPoint) bool { return stays[p.GetValue()] != nil })
			if next := r.all[i+first]; !stays[next.GetValue()].GetReset_() {
				rt.Fatalf("what begins anew at %v does not at %v, the first kept since", p, next)
			}
		}
	})
}

// Points at which history begins anew stay as long as there are others.
func TestThinned_KeepsWhereItBeginsAnew(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := &readings{}
		var anew []float64
		for i := range rapid.IntRange(1, 400).Draw(rt, "points") {
			p := pointAt(i, float64(i))
			if len(anew) < maxPoints-maxFresh-newestKept-1 && rapid.IntRange(0, 12).Draw(rt, "anew") == 0 {
				p.Reset_ = true
				anew = append(anew, p.GetValue())
			}
			r.add(p)
		}
		var got []float64
		for _, p := range r.m.points() {
			if p.GetReset_() {
				got = append(got, p.GetValue())
			}
		}
		if !slices.Equal(got, anew) {
			rt.Fatalf("history begins anew at %v, want %v", got, anew)
		}
	})
}

// Where every old point begins anew some of them must go; here the last of them,
// read within a moment of those beside it. Then the one after it begins anew.
func TestThinned_HandsOnWhereItBeginsAnew(t *testing.T) {
	r := &readings{}
	const last = maxPoints - newestKept
	for i := range maxPoints + 1 {
		p := pointAt(10*i, float64(i))
		switch p.Reset_ = i <= last; i {
		case last - 1:
			p.LookedAt.Seconds += 1198
		case last:
			p.LookedAt.Seconds += 599
		}
		r.add(p)
	}
	for _, p := range r.m.points() {
		if p.GetValue() == last || p.GetReset_() != (p.GetValue() <= last+1) {
			t.Errorf("%v is kept", p)
		}
	}
}

// Steps that are read as often as each other: no gap is wider than a quarter of the
// age at which it lies, so that changes are seen as sharply as their age deserves.
func TestThinned_LiesWiderTheOlder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := &readings{}
		n := rapid.IntRange(1, 2000).Draw(rt, "points")
		for i := range n {
			r.m = r.m.with(pointAt(i, float64(i)), time.Time{})
		}
		kept := r.m.points()
		for i, p := range kept[1:] {
			older := float64(n-1) - kept[i].GetValue()
			if gap := p.GetValue() - kept[i].GetValue(); gap > max(1, older/4) {
				rt.Fatalf("of %d points %v are missing before one that is %v old", n, gap-1, older)
			}
		}
	})
}

// A twin that took the series over at any moment has the same after the same points.
func TestThinned_IsTheSameOnATwin(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := newReadings(rt)
		for range rapid.IntRange(1, 200).Draw(rt, "before") {
			r.read(rt)
		}
		twin := &measured{series: r.m.series, taken: 5}
		for range rapid.IntRange(0, 100).Draw(rt, "since") {
			known := r.all
			r.read(rt)
			i := 0
			for i < len(known) && known[i] == r.all[i] {
				i++
			}
			twin = twin.with(r.all[i], time.Time{})
		}
		sameSeries(rt, "on the twin", r.m.points(), twin.points())
	})
}

// The points given are not changed: others share them.
func TestThinned_ChangesNothingGiven(t *testing.T) {
	var points []*pb.SeriesPoint
	for i := range 100 {
		p := pointAt(i, float64(i))
		p.Added, p.Reset_ = 1, i%7 == 0
		points = append(points, p)
	}
	before := make([]*pb.SeriesPoint, len(points))
	for i, p := range points {
		before[i] = pointAt(i, float64(i))
		before[i].Added, before[i].Reset_ = p.GetAdded(), p.GetReset_()
	}
	if kept := thinned(points); len(kept) != maxPoints-maxFresh {
		t.Errorf("%d are kept", len(kept))
	}
	sameSeries(t, "what was given", before, points)
}
