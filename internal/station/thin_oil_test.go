package station

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// oilDays is the past that WN12's thread has (job map, E1).
const oilDays = 456

// oilReadDaily is the level of an engine's oil in litres, read every day to 0.1 L with
// 0.1 L of noise (invented), topped up by a litre when a litre is gone. It uses 0.15 L in
// 1000 km; one that rises, evenly to 0.9 from day 246 on: the thread of WN12 (job map,
// E1), with half of the hours pumping.
func oilReadDaily(seed uint64, rises bool) (all []*pb.SeriesPoint) {
	random := rand.New(rand.NewPCG(seed, 31))
	const kmPerHour, topUp = 40.0, 1.0
	km, hours, gone, added := 61000.0, 4100.0, 0.0, 0.0
	for day := range oilDays {
		perKM := 0.15 / 1000
		if rises && day > 246 {
			perKM += (0.9 - 0.15) / 1000 * float64(day-246) / 210
		}
		driven := 30 + 20*random.ExpFloat64()
		pumped := driven / kmPerHour * random.ExpFloat64()
		km += driven
		hours += driven/kmPerHour + pumped
		gone += perKM * (driven + kmPerHour*pumped)
		all = append(all, &pb.SeriesPoint{
			LookedAt: timestamppb.New(time.Date(2025, 1, 1+day, 7, 30, 0, 0, time.UTC)), Added: added,
			Value: math.Round((12-gone+0.1*random.NormFloat64())*10) / 10, OdometerKm: proto.Float64(km), EngineHours: proto.Float64(hours),
		})
		if added = 0; gone > topUp {
			gone -= topUp
			added = topUp
		}
	}
	return all
}

// spokenOfOil is how many days before the end it is first said of a series kept as a
// station keeps it, by a look once a week, that use has risen, and that the level falls
// faster than it used to; 0 for never.
func spokenOfOil(seed uint64, rises bool) (risen, faster int) {
	step := &pb.CheckStep{AnswerKind: pb.AnswerKind_ANSWER_KIND_LEVEL, VolumeBetweenMarksL: 1} // so that a share is a litre
	var m *measured
	for day, p := range oilReadDaily(seed, rises) {
		if m = m.with(p, time.Time{}); day%7 != 0 {
			continue
		}
		said := rules.Circumstances{}.Trend(&pb.Observation{Step: step, Series: m.told()})
		if said.GetUseRisen() {
			risen = max(risen, oilDays-day)
		}
		if said.GetHasSlope() && said.GetTimesFaster() >= 2 {
			faster = max(faster, oilDays-day)
		}
	}
	return risen, faster
}

// What is read every day is known well enough over months that an engine which burns
// more and more oil is seen to, by the median within a month of the scenario's D-120, and
// a sound one is not. The newest 64 readings alone, nine weeks, show neither.
func TestThinned_ShowsOilUseThatRises(t *testing.T) {
	const histories = 12
	var rises, falls []int
	for seed := range uint64(histories) {
		risen, faster := spokenOfOil(seed, true)
		rises, falls = append(rises, risen), append(falls, faster)
		if risen, faster := spokenOfOil(seed, false); risen != 0 || faster != 0 {
			t.Errorf("history %d of a sound engine: use has risen on D-%d, falls twice as fast on D-%d", seed, risen, faster)
		}
	}
	for what, days := range map[string][]int{"use has risen": rises, "falls twice as fast": falls} {
		slices.Sort(days)
		t.Logf("%s: on D-%d by the median of %d histories, D-%d to D-%d", what, days[histories/2], histories, days[histories-1], days[0])
		if days[0] == 0 || days[histories-1] > 210 || days[histories/2] < 90 || days[histories/2] > 150 {
			t.Errorf("%s: said on D-%v, want all after D-210 and their median about D-120", what, days)
		}
	}
}
