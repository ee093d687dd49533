package rules_test

import (
	"errors"
	"testing"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// FuzzCompile: any text as expression and as template is either refused with a
// reason or judged without a panic.
func FuzzCompile(f *testing.F) {
	for _, seed := range []struct{ when, text string }{
		{"o.value < 1.0", "{o.value} kPa"},
		{`o.values["pressure"] / o.target > 0.5`, "{{{o.value}}}"},
		{`seen(o, "TYR-020-01") && feature(vehicle, "pump")`, `{"}"}`},
		{"vehicle.axles.exists(a, a.tyre.cold_pressure_kpa > o.target)", "{ {'a': 1}['a']}"},
		{"o.step.nothing.at.all", "{o.step.place.title"},
		{"o.result.note.matches('a+') ? true : [1][2] == 3", "}"},
		{"((((((", "{r'\\'}{b'x'}{'''"},
		{"timestamp('2025-01-01T00:00:00Z') < o.result.station_time", "{'\\'}"},
		{"{'a': dyn(o)}.a.value < 2.0", "{\xff}"},
		{"VehicleCategory.VEHICLE_CATEGORY_X == 1", "\n{\no.\n}"},
		{"[1, 2].map(x, [1, 2].map(y, x + y)).exists(l, l[0] == 3)", "{double('nan')} {1.0 / 0.0}"},
	} {
		f.Add(seed.when, seed.text)
	}
	known := catalogue()
	o := reading(step("TYR-010", "axle-1-nearside"), 1, 637.5)
	f.Fuzz(func(t *testing.T, when, text string) {
		single := rule("fuzz", func(r *pb.Rule) { r.Items, r.When, r.Text, r.ForVehicles = []string{"TYR-010"}, when, text, "" })
		together := grouped(pb.Grouping_GROUPING_ITEM, func(r *pb.Rule) { r.When, r.Text = when, text })
		for _, r := range []*pb.Rule{single, together} {
			e, err := rules.Compile([]*pb.RulePack{pack(r)}, known)
			if err != nil {
				sayWhy(t, err)
				continue
			}
			j, err := e.For(vehicle("packs/test"))
			if err != nil {
				sayWhy(t, err)
				continue
			}
			for _, found := range append(j.Result(o), j.Groups([]*pb.Observation{o})...) {
				if text != "" && when != "" && found.GetText() == "" && found.GetEffect() == pb.Effect_EFFECT_UNSPECIFIED {
					t.Errorf("a finding without effect says nothing: %v", found)
				}
			}
		}
	})
}

// sayWhy checks that a refusal has a place and a reason.
func sayWhy(t *testing.T, err error) {
	var all rules.Errors
	if !errors.As(err, &all) || len(all) == 0 {
		t.Fatalf("refused with %v", err)
	}
	for _, e := range all {
		if e.Rule == "" || e.Wrong == "" || e.Right == "" {
			t.Errorf("refused with %q", e.Error())
		}
	}
}
