package station

import (
	"google.golang.org/protobuf/proto"

	pb "bayround/proto/bayround/v1"
)

const (
	// maxPoints is how many points of a step a verdict rests on.
	maxPoints = 64
	// maxFresh is how many points are written anew with each result, so that not
	// all of them need be.
	maxFresh = 8
	// newestKept is how many of the newest points are never dropped.
	newestKept = 24
)

// thinned is a series that has room for fresh points again. The newest points stay
// as they are, and the oldest one stays. Between them goes whatever leaves the
// smallest gap for its age, again and again, so that what is left lies farther
// apart the older it is: 64 points reach back over the newest days and years alike.
// What a dropped point told of top-ups and repairs, the next one tells. The points
// given are not changed; the same points lead to the same, however they came.
func thinned(points []*pb.SeriesPoint) []*pb.SeriesPoint {
	if len(points) <= maxPoints {
		return points
	}
	for len(points) > maxPoints-maxFresh {
		points = lacking(points, mostCrowded(points))
	}
	return points
}

// mostCrowded is the place of the point whose loss is felt least: the gap that it
// leaves, against its age, is the smallest; of several the oldest. One that begins
// anew is taken only where there is no other.
func mostCrowded(points []*pb.SeriesPoint) int {
	found, foundGap := 0, 0.0
	newest := lookedSecond(points[len(points)-1])
	for i := 1; i < len(points)-newestKept; i++ {
		p := points[i]
		gap := (lookedSecond(points[i+1]) - lookedSecond(points[i-1])) / max(newest-lookedSecond(p), 1)
		if found == 0 || points[found].GetReset_() && !p.GetReset_() ||
			points[found].GetReset_() == p.GetReset_() && gap < foundGap {
			found, foundGap = i, gap
		}
	}
	return found
}

// lookedSecond is when somebody looked, in seconds.
func lookedSecond(p *pb.SeriesPoint) float64 {
	return float64(p.GetLookedAt().GetSeconds()) + float64(p.GetLookedAt().GetNanos())/1e9
}

// lacking is a series without one of its points, which is not the last.
func lacking(points []*pb.SeriesPoint, place int) []*pb.SeriesPoint {
	dropped := points[place]
	rest := make([]*pb.SeriesPoint, 0, len(points)-1)
	rest = append(append(rest, points[:place]...), points[place+1:]...)
	if dropped.GetAdded() != 0 || dropped.GetReset_() {
		next := proto.CloneOf(rest[place])
		next.Added += dropped.GetAdded()
		next.Reset_ = next.GetReset_() || dropped.GetReset_()
		rest[place] = next
	}
	return rest
}
