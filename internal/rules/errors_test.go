package rules_test

import (
	"errors"
	"strings"
	"testing"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// TestCompile_SaysWhatIsWrong: place, fault and remedy of everything that can
// be wrong with a rule.
func TestCompile_SaysWhatIsWrong(t *testing.T) {
	group := func(r *pb.Rule) {
		r.Scope, r.Grouping = pb.RuleScope_RULE_SCOPE_GROUP, pb.Grouping_GROUPING_AXLE
	}
	when := func(expression string) func(*pb.Rule) {
		return func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010"}, expression }
	}
	groupWhen := func(expression string) func(*pb.Rule) {
		return func(r *pb.Rule) {
			when(expression)(r)
			group(r)
		}
	}
	text := func(text string) func(*pb.Rule) {
		return func(r *pb.Rule) { r.Faults, r.Text = []string{"TYR-020-01"}, text }
	}
	limit := func(change func(*pb.Limit)) func(*pb.Rule) {
		return func(r *pb.Rule) {
			r.Items, r.Limit = []string{"TYR-010"}, &pb.Limit{Number: "o.value", Side: atLeast, Bound: "690.0"}
			change(r.Limit)
		}
	}
	for _, tc := range []struct {
		name         string
		change       func(*pb.Rule)
		field        string
		line, column int
		wrong, right string // parts of what is said
	}{
		{"a number is no condition", when("o.value"), "when", 1, 1, "it gives double, not bool", "make it a condition"},
		{"something dynamic is no condition", when("dyn(true)"), "when", 1, 1, "it gives dyn, not bool", "condition"},
		{"words for a number", when(`o.value < "3"`), "when", 1, 9, "< does not go with (double, string)", "two of one kind"},
		{"whole number in arithmetic", when("o.value * 2 < 3.0"), "when", 1, 9, "* does not go with (double, int)", "2.0"},
		{"arguments the wrong way round", when(`seen("TYR-020-01", o)`), "when", 1, 5, "seen does not go with", "write it as in seen(o,"},
		{"a number in and", when("o.value && o.has_value"), "when", 1, 2, "expected type 'bool' but found 'double'", ""},
		{"unknown variable", when("observation.value < 3.0"), "when", 1, 1, `there is no "observation" here`, "the variables are o, vehicle"},
		{"variable of another scope", when("group.exists(x, x.value < 3.0)"), "when", 1, 1, `there is no "group" here`, "o, vehicle"},
		{"o in a group", groupWhen("o.value < 3.0"), "when", 1, 1, `there is no "o" here`, "group, vehicle"},
		{"o in for_vehicles", func(r *pb.Rule) { text("x")(r); r.ForVehicles = "o.value < 3.0" }, "for_vehicles", 1, 1, `there is no "o" here`, "vehicle"},
		{"fault outside a text", when(`fault.id == ""`), "when", 1, 1, `there is no "fault" here`, "o, vehicle"},
		{"unknown function", when("sen(o, \"TYR-020-01\")"), "when", 1, 4, `there is no "sen" here`, "did you mean seen?"},
		{"unknown field", when("o.valu < 3.0"), "when", 1, 2, `Observation has no field "valu"`, "did you mean value?"},
		{"unknown field deeper", when("o.step.plase.id == 'x'"), "when", 1, 7, `CheckStep has no field "plase"`, "did you mean place?"},
		{"unknown field of a member", groupWhen("group.exists(x, x.tread_bnd_mm < 1.0)"), "when", 1, 18, `Observation has no field "tread_bnd_mm"`, "did you mean tread_band_mm?"},
		{"unknown field of an element", when("vehicle.axles[0].wheels == 2"), "when", 1, 17, `Axle has no field "wheels"`, "did you mean steers?"},
		{"unknown enum value", when("vehicle.category == VehicleCategory.VEHICLE_CATEGORY_N4"), "when", 1, 21, `VehicleCategory has no value "VEHICLE_CATEGORY_N4"`, "did you mean VEHICLE_CATEGORY_N"},
		{"unknown enum", when("o.step.side == Sied.SIDE_OFFSIDE"), "when", 1, 16, `there is no "Sied" here`, "did you mean Side?"},
		{"method that is none", when("o.result.note.contain('x')"), "when", 1, 22, `there is no "contain" here`, "did you mean contains?"},
		{"second line", when("o.has_value &&\n  o.valu < 3.0"), "when", 2, 4, `no field "valu"`, "value"},
		{"syntax", when("o.value < "), "when", 1, 11, "it is not a CEL expression", "write it as in"},
		{"too long", when("o.value < 3.0" + strings.Repeat(" ", 2000)), "when", 0, 0, "size", ""},
		{"too deep", when(strings.Repeat("(", 300) + "true" + strings.Repeat(")", 300)), "when", 0, 0, "recursion", ""},
		{"too costly", groupWhen("group.exists(a, group.exists(b, group.exists(c, a.value + b.value > c.value)))"), "when", 0, 0, "too costly", "nest fewer"},
		{"cost without bound", when(`["aa"].map(x, x + string(o.value)).map(x, x + x).exists(x, x.contains(x + x + string(o.value)))`), "when", 0, 0, "cost", ""},
		{"doubled over and over", when(`["aaaaaaaaaa"]` + strings.Repeat(".map(x, x + x)", 40) + ".size() > 0"), "when", 0, 0, "cost", ""},
		{"bad pattern", when(`o.result.note.matches("(")`), "when", 0, 0, "invalid matches argument", ""},
		{"unknown fault in a literal", when(`"TYR-020-09" in o.faults`), "when", 1, 1, `the catalogue has no "TYR-020-09"`, "did you mean TYR-020-01?"},
		{"unknown item in a literal", when(`o.step.item == "TYR-011"`), "when", 1, 16, `the catalogue has no "TYR-011"`, "did you mean TYR-010?"},
		{"fault not written out", when(`seen(o, o.result.note)`), "when", 1, 5, "seen wants fault ids written out", "for instance"},
		{"no faults to count", groupWhen(`count_seen(group, []) > 0`), "when", 1, 11, "count_seen wants fault ids written out", "for instance"},
		{"nothing like an id", when(`seen(o, "lamp")`), "when", 1, 5, "seen wants fault ids written out", "for instance"},

		{"brace not closed", text("Depth {o.tread_band_mm mm"), "text", 1, 7, "a { is not closed", "{{"},
		{"brace closes nothing", text("Depth } mm"), "text", 1, 7, "a } closes nothing", "}}"},
		{"nothing between braces", text("Depth { } mm"), "text", 1, 8, "there is nothing between the braces", ""},
		{"condition in a text", text("Depth {o.has_tread} mm"), "text", 1, 8, "it gives bool, which cannot stand in a text", "give a number or a string"},
		{"message in a text", text("Depth {o.step} mm"), "text", 1, 8, "cannot stand in a text", ""},
		{"unknown field in a text", text("Depth\nis {o.tread_mm} mm"), "text", 2, 6, `no field "tread_mm"`, "tread_band_mm"},
		{"second line of an expression in a text", text("Depth {o.value +\n  o.tread_mm} mm"), "text", 2, 4, `no field "tread_mm"`, "tread_band_mm"},
		{"two slips in a text", text("{o.a} and {o.b}"), "text", 1, 3, `no field "a"`, ""},
		{"not UTF-8", text("Depth \xff mm"), "text", 0, 0, "not UTF-8", ""},

		{"nothing sets it off", func(r *pb.Rule) { r.Items = []string{"TYR-010"} }, "", 0, 0, "nothing sets the rule off", "give faults"},
		{"values of no item", func(r *pb.Rule) { r.When = "o.value < 3.0" }, "items", 0, 0, "looks at no item", "list the items"},
		{"unknown item", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-010", "TIR-010"}, "o.value < 3.0" }, "items[1]", 0, 0, `no item "TIR-010"`, "TYR-010"},
		{"unknown fault", func(r *pb.Rule) { r.Faults = []string{"TYR-020-04"} }, "faults[0]", 0, 0, `no fault "TYR-020-04"`, "TYR-020-01"},
		{"fault twice", func(r *pb.Rule) { r.Faults = []string{"TYR-020-01", "TYR-020-01"} }, "faults[1]", 0, 0, "listed twice", "once"},
		{"fault of another item", func(r *pb.Rule) { r.Faults, r.Items = []string{"TYR-020-01"}, []string{"TYR-010"} }, "faults[0]", 0, 0, `belongs to item "TYR-020"`, "list the item too"},
		{"names an unknown fault", func(r *pb.Rule) { when("o.value < 3.0")(r); r.NamesFault = "TYR-010-02" }, "names_fault", 0, 0, `no fault "TYR-010-02"`, "TYR-010-01"},
		{"names a fault beside faults", func(r *pb.Rule) { text("x")(r); r.NamesFault = "TYR-010-01" }, "names_fault", 0, 0, "names another", "leave names_fault empty"},
		{"no scope", func(r *pb.Rule) { text("x")(r); r.Scope = 0 }, "scope", 0, 0, "not said", "RULE_SCOPE_RESULT"},
		{"no grouping", func(r *pb.Rule) { text("x")(r); r.Scope = pb.RuleScope_RULE_SCOPE_GROUP }, "grouping", 0, 0, "not said", "GROUPING_AXLE"},
		{"grouping out of place", func(r *pb.Rule) { text("x")(r); r.Grouping = pb.Grouping_GROUPING_AXLE }, "grouping", 0, 0, "only a rule of RULE_SCOPE_GROUP", "leave grouping empty"},
		{"same_round out of place", func(r *pb.Rule) { text("x")(r); r.SameRound = true }, "same_round", 0, 0, "no rounds", "leave same_round empty"},

		{"words for a bound", limit(func(l *pb.Limit) { l.Bound = `"3"` }), "limit.bound", 1, 1, "it gives string, not double", "1.6"},
		{"whole number for a bound", limit(func(l *pb.Limit) { l.Bound = "690" }), "limit.bound", 1, 1, "it gives int, not double", "with decimals"},
		{"unknown field in a number", limit(func(l *pb.Limit) { l.Number = "o.valu" }), "limit.number", 1, 2, `no field "valu"`, "value"},
		{"unknown field in an uncertainty", limit(func(l *pb.Limit) { l.Uncertainty = "o.standard_uncertanty" }), "limit.uncertainty", 1, 2, "standard_uncertanty", "standard_uncertainty"},
		{"bound without a bound to its cost", limit(func(l *pb.Limit) {
			l.Bound = `double(["aaaaaaaaaa"]` + strings.Repeat(".map(x, x + x)", 40) + ".size())"
		}), "limit.bound", 0, 0, "cost", ""},
		{"no side", limit(func(l *pb.Limit) { l.Side = 0 }), "limit.side", 0, 0, "on which side", "LIMIT_SIDE_AT_LEAST"},
		{"no such decision", limit(func(l *pb.Limit) { l.Decision = 9 }), "limit.decision", 0, 0, "no such decision", "DECISION_RULE_GUARDED"},
		{"confidence of a coin", limit(func(l *pb.Limit) { l.Confidence = 0.5 }), "limit.confidence", 0, 0, "makes nothing sure", "above 0.5"},
		{"limit on a group", func(r *pb.Rule) { limit(func(*pb.Limit) {})(r); r.When = "true"; group(r) }, "limit", 0, 0, "only a rule on one result has a limit", "RULE_SCOPE_RESULT"},
		{"nobody knows what a level is worth", limit(func(l *pb.Limit) { l.Number, l.Decision = "o.level", guarded }), "limit.uncertainty", 0, 0, "nothing says what this number of TYR-010 is worth", "DECISION_RULE_SIMPLE"},
		{"nobody knows what a sum is worth", limit(func(l *pb.Limit) { l.Number, l.Decision = "o.value + 1.0", doubtGiven }), "limit.uncertainty", 0, 0, "nothing says", "standard uncertainty"},
		{"nobody knows what a rate off the dashboard is worth", func(r *pb.Rule) {
			limit(func(l *pb.Limit) { l.Decision = guarded })(r)
			r.Items = []string{"TYR-010", "AIR-010"}
		}, "limit.uncertainty", 0, 0, "number of AIR-010", ""},
		{"no such part", limit(func(l *pb.Limit) { l.Number, l.Decision = `o.values["pressur"]`, guarded }), "limit.uncertainty", 0, 0, "number of TYR-010", ""},
		{"life guarded by what no gauge measures", func(r *pb.Rule) {
			limit(func(l *pb.Limit) { l.GuardsLife = true })(r)
			r.Items = []string{"AIR-010"}
		}, "limit.guards_life", 0, 0, "no gauge of the register measures this number of AIR-010", "read with a gauge"},
		{"life guarded by a level", limit(func(l *pb.Limit) { l.Number, l.GuardsLife = "o.level", true }), "limit.guards_life", 0, 0, "no gauge", ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			sound := rule("sound", text("Fine"))
			_, err := rules.Compile([]*pb.RulePack{pack(sound, rule("slip", tc.change))}, catalogue())
			var all rules.Errors
			if !errors.As(err, &all) {
				t.Fatalf("compile gave %v, want rules.Errors", err)
			}
			e := all[0]
			if e.Pack != "packs/test" || e.RuleIndex != 1 || e.Rule != "slip" || e.Field != tc.field {
				t.Errorf("place %s rules[%d] %q %q, want packs/test rules[1] \"slip\" %q", e.Pack, e.RuleIndex, e.Rule, e.Field, tc.field)
			}
			if tc.line > 0 && (e.Line != tc.line || e.Column != tc.column) {
				t.Errorf("at %d:%d, want %d:%d", e.Line, e.Column, tc.line, tc.column)
			}
			if !strings.Contains(e.Wrong, tc.wrong) || !strings.Contains(e.Right, tc.right) {
				t.Errorf("it says %q", e.Error())
			}
			if strings.TrimSpace(e.Right) == "" {
				t.Errorf("it does not say what would be right: %q", e.Error())
			}
		})
	}
}

// TestCompile_SaysEverything: all errors of all packs, in order, not the first one.
func TestCompile_SaysEverything(t *testing.T) {
	first := pack(
		rule("a", func(r *pb.Rule) { r.Items, r.When, r.Text = []string{"TYR-010"}, "o.valu < 3.0", "{o.x} and {o.y} }" }),
		rule("a", func(r *pb.Rule) { r.Faults = []string{"TYR-020-01"} }),
	)
	second := pack(rule("b", func(r *pb.Rule) { r.Faults = []string{"XYZ-999-99"}; r.ForVehicles = "vehicle" }))
	second.Name = "packs/second"
	_, err := rules.Compile([]*pb.RulePack{first, second, first}, catalogue())
	var all rules.Errors
	if !errors.As(err, &all) {
		t.Fatalf("compile gave %v", err)
	}
	var got []string
	for _, e := range all {
		got = append(got, e.Pack+" "+e.Rule+" "+e.Field)
	}
	want := []string{
		"packs/test a when", "packs/test a text", "packs/test a text", "packs/test a text", "packs/test a id",
		"packs/second b faults[0]", "packs/second b for_vehicles", "packs/test  ",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if lines := strings.Split(err.Error(), "\n"); len(lines) != len(want) {
		t.Errorf("%d lines for %d errors:\n%v", len(lines), len(want), err)
	}
}

// TestFor_SaysWhatIsWrong: a pack that is not there, a condition on vehicles that fails.
func TestFor_SaysWhatIsWrong(t *testing.T) {
	p := pack(rule("third-axle", func(r *pb.Rule) {
		r.Faults, r.ForVehicles = []string{"TYR-020-01"}, "vehicle.axles[2].steers"
	}))
	e, err := rules.Compile([]*pb.RulePack{p}, catalogue())
	if err != nil {
		t.Fatal(err)
	}
	_, err = e.For(vehicle("packs/test", "packs/elsewhere"))
	var all rules.Errors
	if !errors.As(err, &all) || len(all) != 2 {
		t.Fatalf("judge gave %v, want two errors", err)
	}
	if e := all[0]; e.Pack != "packs/elsewhere" || e.RuleIndex != -1 || !strings.Contains(e.Right, "packs/test") {
		t.Errorf("missing pack: %+v", e)
	}
	if e := all[1]; e.Rule != "third-axle" || e.Field != "for_vehicles" || !strings.Contains(e.Wrong, "index out of bounds") {
		t.Errorf("failing condition: %+v", e)
	}
}
