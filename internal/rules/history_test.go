package rules_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bayround/internal/rules"
	"bayround/internal/trend"
	pb "bayround/proto/bayround/v1"
)

// weekly is a series of weekly values, the newest a week before day 0.
func weekly(values ...float64) *pb.Series {
	s := &pb.Series{}
	for i, v := range values {
		s.Points = append(s.Points, &pb.SeriesPoint{LookedAt: day(7 * (i - len(values))), Value: v})
	}
	return s
}

// falling is n values that fall by so much a week, down to one step above last.
func falling(n int, perWeek, last float64) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = last + perWeek*float64(n-i)
	}
	return values
}

// treadOn is a depth read on day 0, with the series before it.
func treadOn(mm float64, s *pb.Series) *pb.Observation {
	at := wheel("TYR-030", 1, nearside, 0)
	r := tread(at, mm, mm, mm).GetResult()
	r.LookedAt = day(0)
	return rules.Circumstances{Series: s}.Observe(at, r)
}

// TestResult_Trend: a rule on the trend sees the history with the newest reading in it.
func TestResult_Trend(t *testing.T) {
	wear := judge(t, pack(rule("wears", func(r *pb.Rule) {
		r.Items = []string{"TYR-030"}
		r.When = "has(o.trend) && o.trend.has_slope && o.trend.slope_high_per_week < -0.05 && days_until(o, 3.0) < 60.0"
		r.Text = "{round(-o.trend.slope_per_week, 2)} mm a week over {o.trend.points} readings; 3 mm in {round(days_until(o, 3.0), 0)} days"
	})))
	// 0.1 mm a week from 4.9 to 3.9 mm without scatter: 0.9 mm are left, nine weeks.
	o := treadOn(3.9, weekly(falling(10, 0.1, 3.9)...))
	found := wear.Result(o)
	if len(found) != 0 {
		t.Errorf("63 days ahead: %v", found)
	}
	o = treadOn(3.5, weekly(falling(10, 0.1, 3.5)...))
	if found = wear.Result(o); len(found) != 1 || found[0].GetText() != "0.1 mm a week over 11 readings; 3 mm in 35 days" {
		t.Fatalf("35 days ahead: %v", found)
	}
	if got := found[0].GetNumbers()["trend_slope_mm_per_week"]; math.Abs(got+0.1) > 1e-9 {
		t.Errorf("numbers %v", found[0].GetNumbers())
	}
	if o.GetTrend() != nil {
		t.Error("the observation was changed")
	}
	for name, s := range map[string]*pb.Series{"no history": nil, "three readings": weekly(4, 3.9, 3.8)} {
		if found := wear.Result(treadOn(3.5, s)); len(found) != 0 {
			t.Errorf("%s: %v", name, found)
		}
	}
}

// TestDaysUntil_SaysWhatAForecastSays: a rule and a forecast name the same day, of
// pressures at the reference temperature too.
func TestDaysUntil_SaysWhatAForecastSays(t *testing.T) {
	j := judge(t, pack(rule("r", func(r *pb.Rule) {
		r.Items, r.When, r.Text = []string{"TYR-010"}, "has(o.trend) && o.trend.has_slope && days_until(o, 700.0) >= 0.0", "{days_until(o, 700.0)}"
	}))).In(rules.Circumstances{Station: &pb.Station{ReferenceCelsius: 15, AltitudeM: 200}})
	s := coldWheel(1, nearside, 0)
	rapid.Check(t, func(rt *rapid.T) {
		c := rules.Circumstances{Station: &pb.Station{ReferenceCelsius: 15, AltitudeM: 200}, Series: &pb.Series{}}
		perWeek := rapid.Float64Range(-20, 5).Draw(rt, "a week")
		for i := range rapid.IntRange(5, 60).Draw(rt, "readings") {
			air := rapid.Float64Range(-5, 25).Draw(rt, "air")
			value := 850 + perWeek*float64(i-60) + rapid.Float64Range(-20, 20).Draw(rt, "off")
			c.Series.Points = append(c.Series.Points, &pb.SeriesPoint{LookedAt: day(7 * (i - 60)), Value: value, AirCelsius: &air})
		}
		o := c.Observe(s, readIn(s, 0, 850, 10))
		found := j.Result(o)
		f := trend.Predict(c.History(o), trend.Limit{Value: 700, Above: c.Trend(o).GetLevel() < 700}, time.Time{})
		if (len(found) == 1) != (f.Outlook != trend.TooLittle) {
			rt.Fatalf("%v, and the forecast is %+v", found, f)
		}
		if len(found) == 0 || f.Outlook != trend.InSight {
			return
		}
		days, err := strconv.ParseFloat(found[0].GetText(), 64)
		if off := f.Earliest.Sub(day(0).AsTime()).Hours()/24 - days; err != nil || math.Abs(off) > 0.006+days/1e4 { // texts have two decimals, or five digits
			rt.Fatalf("in %q days, the forecast says %v days after %v: %v", found[0].GetText(), days+off, day(0).AsTime(), err)
		}
	})
}

// TestResult_TrendNotGiven: a rule that does not ask whether there is a trend cannot
// be worked out without one; it does not pass in silence.
func TestResult_TrendNotGiven(t *testing.T) {
	for when, want := range map[string]string{
		"o.trend.slope_per_week < 0.0":                                      "there is too little to speak of a slope",
		"has(o.trend) && o.trend.slope_per_week < 0.0":                      "there is too little to speak of a slope",
		"days_until(o, 3.0) < 50.0":                                         "there is too little to speak of a slope",
		"o.trend.same_in_a_row > 3":                                         "",
		"has(o.trend) && o.trend.same_in_a_row > 3":                         "",
		"has(o.trend) && o.trend.has_slope && o.trend.slope_per_week < 0.0": "",
	} {
		j := judge(t, pack(rule("r", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-030"}, when })))
		found := j.Result(treadOn(3.5, nil))
		switch {
		case want == "" && len(found) > 0:
			t.Errorf("%s: %v", when, found)
		case want != "" && (len(found) != 1 || found[0].GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || !strings.Contains(found[0].GetText(), want)):
			t.Errorf("%s: %v", when, found)
		}
	}
}

// TestTrend_AtReference: readings that only follow the weather have no trend at the
// reference temperature; as they were read they seem to fall.
func TestTrend_AtReference(t *testing.T) {
	s := coldWheel(1, nearside, 0)
	station := &pb.Station{ReferenceCelsius: 15}
	series := &pb.Series{}
	read := func(celsius float64) float64 { // 850 kPa at 15 °C and sea level
		return (850+101.325)*(celsius+273.15)/288.15 - 101.325
	}
	for i := range 12 {
		air := 20 - float64(i)
		series.Points = append(series.Points, &pb.SeriesPoint{LookedAt: day(7 * (i - 12)), Value: read(air), AirCelsius: &air})
	}
	c := rules.Circumstances{Station: station, Series: series}
	o := c.Observe(s, readIn(s, 0, read(8), 8))
	if got := c.Trend(o); !got.GetHasSlope() || math.Abs(got.GetSlopePerWeek()) > 1e-6 || math.Abs(got.GetLevel()-850) > 1e-6 {
		t.Errorf("at the reference: %v", got)
	}
	if got := (rules.Circumstances{}).Trend(o); !(got.GetSlopePerWeek() < -2) {
		t.Errorf("as read: %v", got)
	}
	j := judge(t, pack(rule("loses", func(r *pb.Rule) {
		r.Items, r.When = []string{"TYR-010"}, "has(o.trend) && o.trend.has_slope && o.trend.slope_high_per_week < -2.0"
	})))
	if found := j.In(rules.Circumstances{Station: station}).Result(o); len(found) > 0 {
		t.Errorf("by the station's temperature: %v", found)
	}
	if found := j.Result(o); len(found) != 1 {
		t.Errorf("without a station: %v", found)
	}
}

// TestTrend_ToppedUp: what a cure puts in is no gain, of the newest reading too.
func TestTrend_ToppedUp(t *testing.T) {
	s := step("FLU-010", "engine-flap")
	s.VolumeBetweenMarksL = 2
	series := weekly(falling(10, 0.05, 0.3)...)
	r := level(s, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.8).GetResult()
	r.LookedAt, r.Cure = day(0), &pb.Cure{Done: "topped up", Amount: 1, Unit: "L"} // half of what lies between
	c := rules.Circumstances{Series: series}
	got := c.Trend(c.Observe(s, r))
	if !got.GetHasSlope() || math.Abs(got.GetSlopePerWeek()+0.05) > 1e-9 {
		t.Errorf("slope %v a week, want -0.05", got.GetSlopePerWeek())
	}
	r.Cure.Amount = 0 // nobody knows how much
	if got := c.Trend(c.Observe(s, r)); got.GetPoints() != 1 {
		t.Errorf("a top-up of nobody knows how much leaves %d points", got.GetPoints())
	}
	tyre, filled := pressureOn(0, "", 850)
	filled.Cure = &pb.Cure{Done: "filled"}
	series = weekly(falling(10, 5, 800)...)
	series.Points = append(series.Points, &pb.SeriesPoint{LookedAt: day(0), Value: 800})
	c = rules.Circumstances{Series: series}
	if got := c.Trend(c.Observe(tyre, filled)); math.Abs(got.GetSlopePerWeek()+5) > 0.3 {
		t.Errorf("a tyre that was filled: slope %v a week, want about -5", got.GetSlopePerWeek())
	}
}

// TestGroups_Peers: of four wheels in the same weather the one that loses is seen.
func TestGroups_Peers(t *testing.T) {
	j := judge(t, pack(rule("loses", func(r *pb.Rule) {
		r.Scope, r.Items = pb.RuleScope_RULE_SCOPE_VEHICLE, []string{"TYR-010"}
		r.When = "group.exists(x, has(x.peers) && x.peers.has_loss && x.peers.loss_low_kpa_per_week > 2.0)"
		r.Text = "{group.filter(x, has(x.peers) && x.peers.has_loss && x.peers.loss_low_kpa_per_week > 2.0).map(x, x.step.place.title)[0]}"
	})))
	observe := func(leak float64) []*pb.Observation {
		var os []*pb.Observation
		for n, side := range []pb.Side{nearside, pb.Side_SIDE_OFFSIDE} {
			for axle := range 2 {
				s := coldWheel(int32(axle+1), side, 0)
				lost := 0.0
				if n == 1 && axle == 1 {
					lost = leak
				}
				series := &pb.Series{}
				for w := range 12 {
					air := 10 * math.Sin(float64(w)) // what they share
					wobble := float64((w*7+n*3+axle*5)%4) / 4
					series.Points = append(series.Points, &pb.SeriesPoint{LookedAt: day(7 * (w - 12)), Value: 850 + air + wobble - lost*float64(w)})
				}
				os = append(os, rules.Circumstances{Series: series}.Observe(s, readIn(s, 0, 850-lost*12, 15)))
			}
		}
		return os
	}
	if got := j.Compared(); len(got) != 1 || got[0] != "TYR-010" {
		t.Errorf("compared are %q", got)
	}
	if found := j.Groups(observe(0)); len(found) > 0 {
		t.Errorf("none leaks: %v", found)
	}
	found := j.Groups(observe(5))
	if len(found) != 1 || found[0].GetText() != "axle-2-offside" {
		t.Fatalf("one leaks: %v", found)
	}
	if got := found[0].GetNumbers()["greatest_loss_kpa_per_week"]; math.Abs(got-5) > 0.5 {
		t.Errorf("loss %v kPa a week, want about 5: %v", got, found[0].GetNumbers())
	}
}

// TestPeers_LookBackNotTooFar: a tyre that was tight for a year and loses air since
// five weeks is seen to lose it.
func TestPeers_LookBackNotTooFar(t *testing.T) {
	const leak, weeks, tight = 9.0, 58, 53
	var os []*pb.Observation
	for n := range 4 {
		s := coldWheel(int32(n/2+1), []pb.Side{nearside, pb.Side_SIDE_OFFSIDE}[n%2], 0)
		lost := func(week int) float64 {
			if n != 3 {
				return 0
			}
			return leak * max(0, float64(week-tight))
		}
		series := &pb.Series{}
		for w := range weeks {
			wobble := float64((w*7+n*3)%4) / 4
			series.Points = append(series.Points, &pb.SeriesPoint{LookedAt: day(7 * (w - weeks)), Value: 850 + wobble - lost(w)})
		}
		os = append(os, rules.Circumstances{Series: series}.Observe(s, readIn(s, 0, 850-lost(weeks), 15)))
	}
	peers := rules.Peers(os)
	if got := peers[3]; !got.GetHasLoss() || got.GetLossKpaPerWeek() < leak/4 || got.GetPNoLoss() > 0.001 || got.GetDaysTogether() > 13 {
		t.Errorf("the wheel that leaks since five weeks: %v", got)
	}
	if got := peers[0]; got.GetLossKpaPerWeek() > 0.5 {
		t.Errorf("one that does not: %v", got)
	}
}

// TestCompile_PeersOfOneResult: a rule on one result does not see the others.
func TestCompile_PeersOfOneResult(t *testing.T) {
	_, err := rules.Compile([]*pb.RulePack{pack(rule("r", func(r *pb.Rule) {
		r.Items, r.When = []string{"TYR-010"}, "has(o.peers)"
	}))}, catalogue())
	if err == nil || !strings.Contains(err.Error(), "does not see the other wheels") {
		t.Errorf("%v", err)
	}
}
