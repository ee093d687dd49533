package rules_test

import (
	"testing"

	pb "bayround/proto/bayround/v1"
)

// TestLimits_Published walks published limits across: just on the right side
// nothing is found, just on the wrong side the rule is met.
func TestLimits_Published(t *testing.T) {
	pressure := step("TYR-010", "axle-1-nearside")
	depth := step("TYR-030", "axle-1-nearside")
	nuts := step("WHL-010", "axle-1-nearside")
	air := step("AIR-010", "cab")
	battery := step("BAT-010", "battery-box")
	for _, tc := range []struct {
		source     string
		item, when string
		right      *pb.Observation
		wrong      *pb.Observation
	}{
		{
			"SI 1986/1078, reg. 27 (tread-limits.csv row 1): 1 mm in a continuous band of three quarters, over 3.5 t",
			"TYR-030", "vehicle.gross_mass_kg > 3500 && o.tread_band_mm < 1.0",
			tread(depth, 1, 1, 1, 1, 1), tread(depth, 0.99, 0.99, 0.99, 0.99, 0.99),
		},
		{
			"the same: one bare edge lies outside the band",
			"TYR-030", "o.tread_band_mm < 1.0",
			tread(depth, 0, 4, 4, 4, 4), tread(depth, 4, 4, 0, 4, 4),
		},
		{
			"SI 1986/1078, reg. 27(4)(d) (tread-limits.csv row 3): 1.6 mm in the central three quarters",
			"TYR-030", "o.tread_central_mm < 1.6",
			tread(depth, 1.6, 1.6, 1.6), tread(depth, 4, 1.59, 4),
		},
		{
			"49 CFR 393.75(b) (tread-limits.csv): 4/32 in at any point, front wheels",
			"TYR-030", "o.tread_least_mm < 3.175",
			tread(depth, 3.175, 5, 5), tread(depth, 3.174, 5, 5),
		},
		{
			"49 CFR 393.75(c) (tread-limits.csv): 2/32 in, other wheels",
			"TYR-030", "o.tread_least_mm < 1.5875",
			tread(depth, 1.5875, 5), tread(depth, 1.587, 5),
		},
		{
			"county policy (tread-limits.csv, last row): changed at 3 mm",
			"TYR-030", "o.tread_band_mm < 3",
			tread(depth, 3, 3), tread(depth, 2.9, 2.9),
		},
		{
			"49 CFR 571.138 S4.2(a) (tyre-pressure-limits.csv): 25 % below placard",
			"TYR-010", "o.share_of_target <= 0.75",
			reading(pressure, 1, 638), reading(pressure, 1, 637.5),
		},
		{
			"out-of-service criteria (tyre-pressure-limits.csv): half or less is flat",
			"TYR-010", "o.share_of_target <= 0.5",
			reading(pressure, 1, 425.1), reading(pressure, 1, 425),
		},
		{
			"commercial driver licence manual 5.3 (air-brake-limits.csv): applied loss not more than 3 psi a minute",
			"AIR-010", `psi(o.values["leak"]) > 3.0`,
			reading(air, 1, 20.6, 480, 30), reading(air, 1, 20.7, 480, 30),
		},
		{
			"49 CFR 571.121 S5.1.5 (air-brake-limits.csv): the warning comes at 60 psi or above",
			"AIR-010", `psi(o.values["warning"]) < 60.0`,
			reading(air, 1, 0, 413.7, 30), reading(air, 1, 0, 413.6, 30),
		},
		{
			"commercial driver licence manual 5.3 (air-brake-limits.csv): 85 to 100 psi within 45 s",
			"AIR-010", `o.values["build_up"] > 45`,
			reading(air, 1, 0, 480, 45), reading(air, 1, 0, 480, 45.1),
		},
		{
			"battery maker's table (battery-rest-voltage.csv, table 6): two 12.24 V batteries in row are half charged",
			"BAT-010", "vehicle.system_voltage_v == 24.0 && o.value < 2.0 * 12.24",
			reading(battery, 1, 24.48), reading(battery, 1, 24.47),
		},
		{
			"Directive 2014/45/EU, Annex I, 5.2.1(a) line 1 (wheel-fastener-limits.csv): any nut missing or loose",
			"WHL-010", `seen(o, "WHL-010-01") && o.affected >= 1`,
			seen(nuts, 1, "sound"), seenCount(nuts, "01", 1, 10),
		},
		{
			"out-of-service practice under 49 CFR 393.205(c) (wheel-fastener-limits.csv): 3 of 10",
			"WHL-010", "o.of >= 10 && o.affected >= 3 || o.of <= 8 && o.affected >= 2",
			seenCount(nuts, "01", 2, 10), seenCount(nuts, "01", 3, 10),
		},
		{
			"out-of-service practice under 49 CFR 393.205(c) (wheel-fastener-limits.csv): 2 of 8 or fewer",
			"WHL-010", "o.of >= 10 && o.affected >= 3 || o.of <= 8 && o.affected >= 2",
			seenCount(nuts, "01", 1, 8), seenCount(nuts, "01", 2, 8),
		},
		{
			"common practice: engine oil between its marks",
			"FLU-010", "o.level_below || o.level_above",
			level(step("FLU-010", "engine-flap"), pb.LevelMark_LEVEL_MARK_BETWEEN, 0), level(step("FLU-010", "engine-flap"), pb.LevelMark_LEVEL_MARK_BELOW, 0),
		},
	} {
		t.Run(tc.source, func(t *testing.T) {
			j := judge(t, pack(rule("limit", func(r *pb.Rule) { r.Items, r.When = []string{tc.item}, tc.when })))
			for _, f := range j.Result(tc.right) {
				if f.GetRule() == "limit" {
					t.Errorf("on the right side it found %v %q", f.GetEffect(), f.GetText())
				}
			}
			found := j.Result(tc.wrong)
			if len(found) == 0 || found[0].GetRule() != "limit" || found[0].GetEffect() != pb.Effect_EFFECT_RESPONDING {
				t.Errorf("on the wrong side it found %v", found)
			}
		})
	}
}

// TestLimits_PublishedGroups does the same for limits on several places together.
func TestLimits_PublishedGroups(t *testing.T) {
	outer := wheel("TYR-010", 2, pb.Side_SIDE_NEARSIDE, pb.TwinPosition_TWIN_POSITION_OUTER)
	inner := wheel("TYR-010", 2, pb.Side_SIDE_NEARSIDE, pb.TwinPosition_TWIN_POSITION_INNER)
	outerTread := wheel("TYR-030", 2, pb.Side_SIDE_NEARSIDE, pb.TwinPosition_TWIN_POSITION_OUTER)
	innerTread := wheel("TYR-030", 2, pb.Side_SIDE_NEARSIDE, pb.TwinPosition_TWIN_POSITION_INNER)
	lamps := [3]*pb.CheckStep{step("LMP-010", "stop-left"), step("LMP-010", "stop-right"), step("LMP-010", "stop-high")}
	for _, tc := range []struct {
		source, item, when string
		grouping           pb.Grouping
		right, wrong       []*pb.Observation
	}{
		{
			"survey criterion (twin-tyre-limits.csv): 5 psi inside a pair",
			"TYR-010", "size(group) == 2 && psi(spread(group.map(x, x.value))) > 5.0", pb.Grouping_GROUPING_AXLE_END,
			[]*pb.Observation{reading(outer, 1, 850), reading(inner, 2, 815.6)},
			[]*pb.Observation{reading(outer, 1, 850), reading(inner, 2, 815.5)},
		},
		{
			"tyre service training (twin-tyre-limits.csv): tread depths of a pair differ by at most 4/32 in",
			"TYR-030", "size(group) == 2 && spread(group.map(x, x.tread_band_mm)) > 3.175", pb.Grouping_GROUPING_AXLE_END,
			[]*pb.Observation{tread(outerTread, 8, 8), tread(innerTread, 4.825, 4.825)},
			[]*pb.Observation{tread(outerTread, 8, 8), tread(innerTread, 4.82, 4.82)},
		},
		{
			"Directive 2014/45/EU, Annex I, 4.3.1(a) line 3 (eu-2014-45-annex.csv): no light source of the stop lamps works",
			"LMP-010", `count_seen(group, ["LMP-010-01"]) == size(group)`, pb.Grouping_GROUPING_LAMP_FUNCTION,
			[]*pb.Observation{seen(lamps[0], 1, "01"), seen(lamps[1], 2, "01"), seen(lamps[2], 3, "sound")},
			[]*pb.Observation{seen(lamps[0], 1, "01"), seen(lamps[1], 2, "01"), seen(lamps[2], 3, "01")},
		},
	} {
		t.Run(tc.source, func(t *testing.T) {
			j := judge(t, pack(rule("limit", func(r *pb.Rule) {
				r.Scope, r.Grouping, r.Items, r.When = pb.RuleScope_RULE_SCOPE_GROUP, tc.grouping, []string{tc.item}, tc.when
			})))
			if found := j.Groups(tc.right); len(found) > 0 {
				t.Errorf("on the right side it found %v", found)
			}
			found := j.Groups(tc.wrong)
			if len(found) != 1 || found[0].GetEffect() != pb.Effect_EFFECT_RESPONDING {
				t.Fatalf("on the wrong side it found %v", found)
			}
			if len(found[0].GetStepIds()) != len(tc.wrong) {
				t.Errorf("it looked at %v", found[0].GetStepIds())
			}
		})
	}
}
