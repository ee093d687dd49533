package rules_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// day is an instant of the tests, so many days after an arbitrary one.
func day(n int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC).AddDate(0, 0, n))
}

// tyreGauge is a register of one gauge: 16 kPa, in steps of 10 kPa, due on day 100.
func tyreGauge(change func(*pb.Gauge)) map[string]*pb.Gauge {
	g := &pb.Gauge{
		Name: "gauges/g-03", Title: "G-03 tyre gauge", Quantity: pb.Quantity_QUANTITY_PRESSURE,
		Resolution: 10, MaxPermissibleError: 16, CalibrationDue: day(100),
	}
	change(g)
	return map[string]*pb.Gauge{g.GetName(): g}
}

// checked is a comparison on a day; off is what the gauge showed too much.
func checked(on int, off float64, good bool) *pb.GaugeCheck {
	return &pb.GaugeCheck{StationTime: day(on), Shown: 800 + off, ReferenceValue: 800, Good: good}
}

// pressureOn is a pressure at a wheel, read on a day with a gauge.
func pressureOn(on int, gauge string, kpa float64) (*pb.CheckStep, *pb.Result) {
	s := wheel("TYR-010", 1, nearside, 0)
	return s, result(s, 1, func(r *pb.Result) {
		r.LookedAt, r.Gauge = day(on), gauge
		r.Answer = &pb.Result_Reading{Reading: &pb.Reading{Values: []*pb.Value{{Part: "pressure", AsTyped: kpa / 100, Unit: "bar", Si: kpa}}}}
	})
}

// TestObserve_GaugeStanding: what a gauge could prove on day 50, by what is
// known of it today; a gauge found wrong counts as wrong since its last good check.
func TestObserve_GaugeStanding(t *testing.T) {
	const (
		inDate  = pb.GaugeStanding_GAUGE_STANDING_IN_DATE
		unknown = pb.GaugeStanding_GAUGE_STANDING_UNKNOWN
		overdue = pb.GaugeStanding_GAUGE_STANDING_OVERDUE
		wrong   = pb.GaugeStanding_GAUGE_STANDING_FOUND_WRONG
	)
	for _, tc := range []struct {
		name   string
		gauge  string
		change func(*pb.Gauge)
		want   pb.GaugeStanding
		off    float64
	}{
		{"in date, never compared", "gauges/g-03", func(*pb.Gauge) {}, inDate, 0},
		{"none was named", "", func(*pb.Gauge) {}, unknown, 0},
		{"not on the register", "gauges/g-99", func(*pb.Gauge) {}, unknown, 0},
		{"lapsed the day before", "gauges/g-03", func(g *pb.Gauge) { g.CalibrationDue = day(49) }, overdue, 0},
		{"due that instant", "gauges/g-03", func(g *pb.Gauge) { g.CalibrationDue = day(50) }, inDate, 0},
		{"nobody knows when it is due", "gauges/g-03", func(g *pb.Gauge) { g.CalibrationDue = nil }, overdue, 0},
		{"found wrong later, never found good", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(60, 28, false)} }, wrong, 28},
		{"found wrong later, found good before", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(10, 2, true), checked(60, -28, false)} }, wrong, -28},
		{"found good between", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(55, 2, true), checked(60, 28, false)} }, inDate, 0},
		{"found good that instant", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(50, 2, true), checked(60, 28, false)} }, wrong, 28},
		{"found wrong before and used on", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(40, 28, false)} }, wrong, 28},
		{"found wrong and set right before", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(40, 28, false), checked(41, 0, true)} }, inDate, 0},
		{"wrong twice, the greater error", "gauges/g-03", func(g *pb.Gauge) { g.Checks = []*pb.GaugeCheck{checked(40, 28, false), checked(60, 31, false)} }, wrong, 31},
		{"wrong and overdue", "gauges/g-03", func(g *pb.Gauge) {
			g.CalibrationDue, g.Checks = day(49), []*pb.GaugeCheck{checked(60, 28, false)}
		}, wrong, 28},
	} {
		t.Run(tc.name, func(t *testing.T) {
			o := rules.Circumstances{Gauges: tyreGauge(tc.change)}.Observe(pressureOn(50, tc.gauge, 850))
			if o.GetGaugeStanding() != tc.want || o.GetMayReadHighBy() != tc.off {
				t.Errorf("%v, %v kPa high; want %v, %v", o.GetGaugeStanding(), o.GetMayReadHighBy(), tc.want, tc.off)
			}
		})
	}
}

// TestObserve_NoGaugeUsed: what is seen or read off the dashboard needs no gauge.
func TestObserve_NoGaugeUsed(t *testing.T) {
	for _, o := range []*pb.Observation{reading(step("AIR-010", "cab"), 1, 7, 480, 40), seen(step("TYR-020", "a"), 1, "sound")} {
		if o.GetGaugeStanding() != pb.GaugeStanding_GAUGE_STANDING_UNSPECIFIED {
			t.Errorf("%s: %v", o.GetStep().GetStepId(), o.GetGaugeStanding())
		}
	}
}

// TestPoint: the number that joins the series, as it was read.
func TestPoint(t *testing.T) {
	air := -4.0
	s, r := pressureOn(50, "gauges/g-03", 806)
	r.AirCelsius = &air
	oil, depth := step("FLU-010", "a"), step("TYR-030", "a")
	const below, between, above = pb.LevelMark_LEVEL_MARK_BELOW, pb.LevelMark_LEVEL_MARK_BETWEEN, pb.LevelMark_LEVEL_MARK_ABOVE
	for _, tc := range []struct {
		name string
		step *pb.CheckStep
		r    *pb.Result
		want *pb.SeriesPoint
	}{
		{"pressure", s, r, &pb.SeriesPoint{LookedAt: day(50), Value: 806, AirCelsius: &air, Gauge: "gauges/g-03"}},
		{"profile", depth, tread(depth, 8, 8, 8).GetResult(), &pb.SeriesPoint{LookedAt: stationTime(1), Value: 8}},
		{"level between", oil, level(oil, between, 0.25).GetResult(), &pb.SeriesPoint{LookedAt: stationTime(1), Value: 0.25}},
		{"level below", oil, level(oil, below, 0).GetResult(), &pb.SeriesPoint{LookedAt: stationTime(1)}},
		{"level above", oil, level(oil, above, 0).GetResult(), &pb.SeriesPoint{LookedAt: stationTime(1), Value: 1}},
		{"condition", step("TYR-020", "a"), seen(step("TYR-020", "a"), 1, "01").GetResult(), nil},
		{"nothing", s, nil, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if d := cmp.Diff(tc.want, rules.Point(tc.step, tc.r), protocmp.Transform()); d != "" {
				t.Errorf("point (-want +got):\n%s", d)
			}
		})
	}
}

func stationTime(number int64) *timestamppb.Timestamp {
	return &timestamppb.Timestamp{Seconds: 1_750_000_000 + number}
}
