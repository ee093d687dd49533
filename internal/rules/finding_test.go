package rules_test

import (
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// TestResult_FindingIsWhole: everything the rule, the fault and the
// observation know stands in the finding.
func TestResult_FindingIsWhole(t *testing.T) {
	r := rule("soft", func(r *pb.Rule) {
		r.Items, r.When, r.NamesFault = []string{"TYR-010"}, "o.share_of_target < 0.8", "TYR-010-01"
		r.Grade, r.Effect = pb.Grade_GRADE_MAJOR, pb.Effect_EFFECT_RESPONDING_WITHOUT_LIMIT
		r.CapabilitiesLost = []string{"pump"}
		r.Restrictions = []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_SPEED, Text: "60 km/h", SpeedKmh: 60}}
		r.Text = "{fault.text}: {bar(o.value)} bar, {round(o.share_of_target * 100.0, 0)} % of {bar(o.target)} bar at {o.step.place.title}"
		r.LongestDeferralDays, r.Decider = 3, "duty officer"
	})
	p := pack(r)
	at := step("TYR-010", "axle-1-nearside")
	o := reading(at, 1, 637.5)
	got := judge(t, p).Result(o)
	want := []*pb.Finding{{
		Pack: "packs/test", PackVersion: "1", PackDigest: rules.Digest(p), Rule: "soft", Fault: "TYR-010-01",
		StepIds: []string{at.GetStepId()}, ResultIds: []string{o.GetResult().GetResultId()},
		Grade: r.GetGrade(), Effect: r.GetEffect(), CapabilitiesLost: r.GetCapabilitiesLost(), Restrictions: r.GetRestrictions(),
		Text:       "tyre too soft: 6.38 bar, 75 % of 8.5 bar at axle-1-nearside",
		DriverDoes: "Report it: tyre too soft",
		Numbers:    map[string]float64{"pressure_kpa": 637.5, "target_kpa": 850, "share_of_target": 0.75},
		Source:     r.GetSource(), LongestDeferralDays: 3, Decider: "duty officer", Scope: r.GetScope(),
		RecheckCloses: true, // the fault can be put right on the spot
	}}
	if len(got) == 1 && len(got[0].GetFindingId()) != 32 {
		t.Errorf("finding id %q, want 32 hex digits", got[0].GetFindingId())
	}
	if d := cmp.Diff(want, got, protocmp.Transform(), protocmp.IgnoreFields(&pb.Finding{}, "finding_id")); d != "" {
		t.Errorf("finding (-want +got):\n%s", d)
	}
}

// TestResult_OncePerFault: a rule with several faults speaks for each that is seen.
func TestResult_OncePerFault(t *testing.T) {
	j := judge(t, pack(
		rule("casing", func(r *pb.Rule) {
			r.Faults, r.Text = []string{"TYR-020-02", "TYR-020-01"}, "Tyre: {fault.text}, {{as seen}}"
		}),
		rule("stone", func(r *pb.Rule) { r.Faults, r.RecheckCloses = []string{"TYR-020-03"}, true }),
	))
	found := j.Result(seen(step("TYR-020", "axle-1-nearside"), 1, "02", "03", "01"))
	var got []string
	ids := map[string]bool{}
	for _, f := range found {
		got = append(got, f.GetFault()+" "+f.GetText())
		ids[f.GetFindingId()] = true
		if f.GetNumbers()["affected"] != 1 || f.GetNumbers()["of"] != 1 {
			t.Errorf("numbers %v, want 1 of 1", f.GetNumbers())
		}
	}
	want := []string{"TYR-020-01 Tyre: cut to the cord, {as seen}", "TYR-020-02 Tyre: bulge, {as seen}", "TYR-020-03 Found by stone"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("findings (-want +got):\n%s", d)
	}
	if len(ids) != 3 {
		t.Errorf("finding ids are not all different: %v", ids)
	}
	if found := j.Result(seen(step("TYR-020", "axle-1-nearside"), 1, "sound")); len(found) != 0 {
		t.Errorf("a sound answer gave %v", found)
	}
}

// TestResult_FaultAndCondition: with both, both must hold.
func TestResult_FaultAndCondition(t *testing.T) {
	j := judge(t, pack(rule("several", func(r *pb.Rule) { r.Faults, r.When = []string{"WHL-010-01"}, "o.affected > 1" })))
	nuts := step("WHL-010", "axle-1-nearside")
	if found := j.Result(seenCount(nuts, "01", 1, 10)); len(found) != 0 {
		t.Errorf("one nut gave %v: the pack has spoken of it and lets it pass", found)
	}
	if found := j.Result(seenCount(nuts, "01", 2, 10)); len(found) != 1 {
		t.Errorf("two nuts gave %v", found)
	}
}

// TestResult_Order: findings come in the order of packs and rules, whatever set them off.
func TestResult_Order(t *testing.T) {
	first, second := pack(
		rule("any", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-020"}, "o.affected > 0" }),
		rule("bulge", func(r *pb.Rule) { r.Faults = []string{"TYR-020-02"} }),
		rule("cut", func(r *pb.Rule) { r.Faults = []string{"TYR-020-01"} }),
		rule("both", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-020"}, "size(o.faults) == 2" }),
	), pack(rule("again", func(r *pb.Rule) { r.Faults = []string{"TYR-020-02", "TYR-020-01"} }))
	second.Name = "packs/a-second"
	found := judge(t, first, second).Result(seen(step("TYR-020", "axle-1-nearside"), 1, "01", "02"))
	if d := cmp.Diff([]string{"again", "again", "any", "bulge", "cut", "both"}, ruleIDs(found)); d != "" {
		t.Errorf("order (-want +got):\n%s", d)
	}
}

// TestResult_NotWorkedOut: a rule that fails gives a finding without effect,
// which proves nothing; it never passes in silence.
func TestResult_NotWorkedOut(t *testing.T) {
	pressure := step("TYR-010", "axle-1-nearside")
	untargeted := step("TYR-010", "axle-1-nearside")
	untargeted.Target = nil
	for _, tc := range []struct {
		name, item, when string
		o                *pb.Observation
		why              string
	}{
		{"value of a step that gave a level", "FLU-010", "o.value < 3.0", level(step("FLU-010", "engine-flap"), pb.LevelMark_LEVEL_MARK_BETWEEN, 0.5), "no value was read"},
		{"level of a step that gave a value", "TYR-010", "o.level_below", reading(pressure, 1, 850), "no level was read"},
		{"tread of a step that gave a value", "TYR-010", "o.tread_band_mm < 1.0", reading(pressure, 1, 850), "no tread depth was measured"},
		{"target of a step without one", "TYR-010", "o.target > 900", reading(untargeted, 1, 850), "no target is known"},
		{"share of a step without target", "TYR-010", "o.share_of_target < 0.8", reading(untargeted, 1, 850), "no value and target to compare"},
		{"count of a step that gave a value", "TYR-010", "double(o.affected) / double(o.of) > 0.5", reading(pressure, 1, 850), "no condition was stated"},
		{"part that is not there", "TYR-010", `o.values["depth"] < 3.0`, reading(pressure, 1, 850), "no such key: depth"},
		{"element that is not there", "TYR-010", "vehicle.axles[7].steers", reading(pressure, 1, 850), "index out of bounds"},
		{"not a number", "TYR-010", "(o.value - o.value) / (o.target - o.target) > 1.0", reading(pressure, 1, 850), "division by zero"},
		{"without end", "TYR-010", "o.value / (o.target - o.target) < 1.0", reading(pressure, 1, 850), "division by zero"},
		{"whole division", "TYR-010", "1 / size(o.faults) > 1", reading(pressure, 1, 850), "division by zero"},
		{"rounding to nonsense", "TYR-010", "round(o.value, 9) > 1.0", reading(pressure, 1, 850), "0 to 6 are possible"},
		{"least of nothing", "TYR-010", "least(o.faults.map(x, 1.0)) > 1.0", reading(pressure, 1, 850), "empty list"},
		{"greatest of nothing", "TYR-010", "greatest(o.faults.map(x, 1.0)) > 1.0", reading(pressure, 1, 850), "empty list"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			j := judge(t, pack(rule("fails", func(r *pb.Rule) { r.Items, r.When = []string{tc.item}, tc.when })))
			found := j.Result(tc.o)
			if len(found) != 1 {
				t.Fatalf("%d findings, want one", len(found))
			}
			f := found[0]
			if f.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || f.GetGrade() != pb.Grade_GRADE_UNSPECIFIED || f.GetCapabilitiesLost() != nil {
				t.Errorf("a rule that could not be worked out takes away %v %v", f.GetEffect(), f.GetGrade())
			}
			if f.GetRule() != "fails" || !strings.Contains(f.GetText(), "could not be worked out: ") || !strings.Contains(f.GetText(), tc.why) {
				t.Errorf("rule %q says %q, want %q in it", f.GetRule(), f.GetText(), tc.why)
			}
			if !f.GetRecheckCloses() {
				t.Error("an answer that can be judged does not settle it")
			}
		})
	}
}

// TestResult_AuthorThoughtOfIt: an expression that asks has_… itself is let alone.
func TestResult_AuthorThoughtOfIt(t *testing.T) {
	j := judge(t, pack(rule("guarded", func(r *pb.Rule) {
		r.Items, r.When = []string{"FLU-010"}, "o.has_value && o.value < 3.0 || o.has_level && o.level < 0.1"
	})))
	oil := step("FLU-010", "engine-flap")
	if found := j.Result(level(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.5)); len(found) != 0 {
		t.Errorf("half full gave %v", found)
	}
	found := j.Result(level(oil, pb.LevelMark_LEVEL_MARK_BETWEEN, 0.05))
	if len(found) != 1 || found[0].GetEffect() == pb.Effect_EFFECT_UNSPECIFIED {
		t.Errorf("nearly empty gave %v", found)
	}
}

// TestResult_WordsFailTheRuleStands: a met rule keeps its effect when only its
// words cannot be made.
func TestResult_WordsFailTheRuleStands(t *testing.T) {
	j := judge(t, pack(rule("words", func(r *pb.Rule) {
		r.Faults, r.Text = []string{"TYR-020-01"}, `At {o.value} kPa, {vehicle.axles[8].track_m} m, {1.0 / double(size(o.result.note))}`
	})))
	found := j.Result(seen(step("TYR-020", "axle-1-nearside"), 1, "01"))
	if len(found) != 1 || found[0].GetEffect() != pb.Effect_EFFECT_RESPONDING || found[0].GetText() != "At (not known) kPa, (not known) m, (not known)" {
		t.Errorf("found %v", found)
	}
}

// TestResult_FaultNobodySpeaksOf: no rule in force says what it means, so it proves nothing.
func TestResult_FaultNobodySpeaksOf(t *testing.T) {
	p := pack(
		rule("cut", func(r *pb.Rule) { r.Faults = []string{"TYR-020-01"} }),
		rule("bulge on a bicycle", func(r *pb.Rule) {
			r.Id, r.Faults, r.ForVehicles = "bulge", []string{"TYR-020-02"}, "vehicle.gross_mass_kg < 100"
		}),
		rule("literal", func(r *pb.Rule) {
			r.Items, r.When = []string{"LMP-010"}, `seen(o, "LMP-010-02") && feature(vehicle, "trailer")`
		}),
	)
	j := judge(t, p)
	found := j.Result(seen(step("TYR-020", "axle-1-nearside"), 1, "02", "03"))
	if len(found) != 2 {
		t.Fatalf("%d findings, want one for each fault nobody speaks of", len(found))
	}
	for i, fault := range []string{"TYR-020-02", "TYR-020-03"} {
		f := found[i]
		if f.GetFault() != fault || f.GetEffect() != pb.Effect_EFFECT_UNSPECIFIED || !strings.Contains(f.GetText(), "could not be worked out: no rule") {
			t.Errorf("fault %s: %v", fault, f)
		}
	}
	if found[0].GetRecheckCloses() || !found[1].GetRecheckCloses() {
		t.Error("a sound answer closes what can be put right on the spot, and only that")
	}
	if found := j.Result(seen(step("LMP-010", "stop-left"), 1, "02")); len(found) != 0 {
		t.Errorf("a fault that a condition speaks of gave %v", found)
	}
}

// TestResult_BesideAValue: a fault seen beside a value sets off the same rules as
// one that is the whole answer, and is never passed over in silence.
func TestResult_BesideAValue(t *testing.T) {
	j := judge(t, pack(
		rule("low", func(r *pb.Rule) { r.Items, r.When, r.NamesFault = []string{"FLU-020"}, "o.level_below", "FLU-020-01" }),
		rule("dirty", func(r *pb.Rule) { r.Faults, r.Text = []string{"FLU-020-02"}, "{fault.text}, {o.affected} of {o.of}" }),
		rule("both", func(r *pb.Rule) { r.Items, r.When = []string{"FLU-020"}, "o.affected > 1" }),
	))
	tank := step("FLU-020", "a")
	below, between := pb.LevelMark_LEVEL_MARK_BELOW, pb.LevelMark_LEVEL_MARK_BETWEEN
	everywhere := beside(tank, between, "02")
	everywhere.Result.AlsoSeen[0].Count = &pb.Count{Affected: 2, Of: 2}
	for _, tc := range []struct {
		name string
		o    *pb.Observation
		want []string // rule, fault, text
	}{
		{"nothing wrong", beside(tank, between), nil},
		{"value alone", beside(tank, below), []string{"low FLU-020-01 Found by low"}},
		{"fault alone", beside(tank, between, "02"), []string{"dirty FLU-020-02 fluid dirty, 1 of 2"}},
		{"both", beside(tank, below, "02"), []string{"low FLU-020-01 Found by low", "dirty FLU-020-02 fluid dirty, 1 of 2"}},
		{"on both tanks", rules.Observe(tank, everywhere.GetResult()), []string{"dirty FLU-020-02 fluid dirty, 2 of 2", "both  Found by both"}},
		{"seen and read: one finding", beside(tank, below, "01"), []string{"low FLU-020-01 Found by low"}},
		{"seen, but not read", beside(tank, between, "01"), []string{" FLU-020-01 " + unspoken + "fluid low"}},
		{"no rule", beside(tank, between, "03"), []string{" FLU-020-03 " + unspoken + "cap loose"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			var got []string
			for _, f := range j.Result(tc.o) {
				got = append(got, f.GetRule()+" "+f.GetFault()+" "+f.GetText())
				if _, counted := f.GetNumbers()["affected"]; counted != (len(tc.o.GetFaults()) > 0) {
					t.Errorf("%s: numbers %v, with %d faults seen", f.GetRule(), f.GetNumbers(), len(tc.o.GetFaults()))
				}
			}
			if d := cmp.Diff(tc.want, got); d != "" {
				t.Errorf("findings (-want +got):\n%s", d)
			}
		})
	}
}

// unspoken begins the finding of a fault that no rule speaks of.
const unspoken = "What this means could not be worked out: no rule of this vehicle's packs speaks of it. Seen: "

// TestFor_OnlyItsVehicles: rules for other vehicles are not in force, nor are other packs.
func TestFor_OnlyItsVehicles(t *testing.T) {
	for _, tc := range []struct {
		forVehicles string
		in          bool
	}{
		{"", true},
		{"vehicle.category == VehicleCategory.VEHICLE_CATEGORY_N3", true},
		{"vehicle.category in [VehicleCategory.VEHICLE_CATEGORY_N1, VehicleCategory.VEHICLE_CATEGORY_N2]", false},
		{`feature(vehicle, "pump") && feature(vehicle, "air_brakes") && feature(vehicle, "twin_rear") && feature(vehicle, "powered")`, true},
		{`feature(vehicle, "ladder") || feature(vehicle, "trailer") || feature(vehicle, "hydraulic_brakes") || feature(vehicle, "electric") || feature(vehicle, "hybrid")`, false},
		{"vehicle.axles.exists(a, a.wheels_per_side == 2 && a.driven)", true},
		{`"winch" in vehicle.features`, false},
	} {
		j := judge(t, pack(
			rule("some", func(r *pb.Rule) { r.Faults, r.ForVehicles = []string{"TYR-020-01"}, tc.forVehicles }),
			rule("all", func(r *pb.Rule) { r.Faults = []string{"TYR-020-01"} }),
		))
		want := []string{"all"}
		if tc.in {
			want = []string{"some", "all"}
		}
		if d := cmp.Diff(want, ruleIDs(j.Result(seen(step("TYR-020", "axle-1-nearside"), 1, "01")))); d != "" {
			t.Errorf("%q (-want +got):\n%s", tc.forVehicles, d)
		}
	}
	e, err := rules.Compile([]*pb.RulePack{pack(rule("cut", func(r *pb.Rule) { r.Faults = []string{"TYR-020-01"} }))}, catalogue())
	if err != nil {
		t.Fatal(err)
	}
	j, err := e.For(vehicle())
	if err != nil {
		t.Fatal(err)
	}
	if len(j.Packs()) != 0 {
		t.Errorf("a vehicle without packs is under %v", j.Packs())
	}
}

// TestJudge_Packs: names with versions, in the order of names.
func TestJudge_Packs(t *testing.T) {
	other := pack()
	other.Name, other.Version = "packs/another", "2026.1"
	if d := cmp.Diff([]string{"packs/another@2026.1", "packs/test@1"}, judge(t, pack(), other).Packs()); d != "" {
		t.Errorf("packs (-want +got):\n%s", d)
	}
}

// TestJudge_ManyGoroutines: one judge serves many at once; the race detector watches.
func TestJudge_ManyGoroutines(t *testing.T) {
	j := judge(t, lawPacks()...)
	os := wheels()
	os[0].Value, os[0].ShareOfTarget = 1000, 0.5
	want := judgeAll(j, os)
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() {
			for range 20 {
				if d := cmp.Diff(want, judgeAll(j, os), protocmp.Transform()); d != "" {
					t.Errorf("findings (-want +got):\n%s", d)
				}
			}
		})
	}
	wait.Wait()
	if len(want) == 0 {
		t.Error("nothing was found, so nothing was compared")
	}
}

// How many show a fault is asked where a rule reads it: in its condition, in its
// limit or in its text, of the faults that it looks for or of all of its items.
func TestCounts(t *testing.T) {
	j := judge(t, pack(
		rule("several", func(r *pb.Rule) { r.Faults, r.When = []string{"WHL-010-01"}, "o.affected > 1" }),
		rule("told", func(r *pb.Rule) { r.Faults, r.Text = []string{"FLU-020-02"}, "{o.affected} of {o.of}" }),
		rule("seen", func(r *pb.Rule) { r.Faults = []string{"FLU-020-01", "LMP-010-01"} }),
		rule("any", func(r *pb.Rule) { r.Items, r.When = []string{"TYR-020"}, "o.affected > 0" }),
		rule("elsewhere", func(r *pb.Rule) {
			r.Faults, r.When, r.ForVehicles = []string{"LMP-010-02"}, "o.affected > 1", "vehicle.gross_mass_kg < 0.0"
		}),
	))
	for fault, want := range map[string]bool{
		"WHL-010-01": true, "FLU-020-02": true, "FLU-020-01": false, "LMP-010-01": false, "LMP-010-02": false,
		"TYR-020-01": true, "TYR-020-03": true, "none": false,
	} {
		if got := j.Counts(fault); got != want {
			t.Errorf("%s: %v, want %v", fault, got, want)
		}
	}
}
