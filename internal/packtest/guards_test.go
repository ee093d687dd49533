package packtest

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/rules"
	pb "bayround/proto/bayround/v1"
)

// withGauge looks at a made answer again as if it had been read with another gauge.
func withGauge(o *pb.Observation, g *pb.Gauge) *pb.Observation {
	r := proto.CloneOf(o.GetResult())
	r.Gauge = g.GetName()
	return rules.Circumstances{Gauges: map[string]*pb.Gauge{g.GetName(): g}}.Observe(o.GetStep(), r)
}

// guardedRules are the rules whose bound guards life, as pack and id.
func guardedRules(d *defaults) (all [][2]string) {
	for _, name := range []string{policyPack, annexPack, gbPack, usPack} {
		for _, r := range d.packs[name].GetRules() {
			if r.GetLimit().GetGuardsLife() {
				all = append(all, [2]string{name, r.GetId()})
			}
		}
	}
	return all
}

// madeWith answers a guarded rule's item so that its number is the bound times a share.
func madeWith(t *testing.T, d *defaults, r *pb.Rule, share float64) *pb.Observation {
	t.Helper()
	item := d.items[r.GetItems()[0]]
	if item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_PROFILE {
		mm := bound(t, r) * share
		return depths(step(item), mm, mm, mm)
	}
	return read(asked(item), 800*bound(t, r)*share)
}

func bound(t *testing.T, r *pb.Rule) float64 {
	t.Helper()
	var x float64
	if _, err := fmt.Sscan(r.GetLimit().GetBound(), &x); err != nil {
		t.Fatalf("%s: bound %q: %v", r.GetId(), r.GetLimit().GetBound(), err)
	}
	return x
}

// standings are gauges of one quantity by what they can prove.
func standings(q pb.Quantity) map[string]*pb.Gauge {
	sound := func() *pb.Gauge { return proto.CloneOf(register()[gaugeOf(q)]) }
	overdue, wrong, nameless := sound(), sound(), &pb.Gauge{}
	overdue.CalibrationDue = timestamppb.New(readOn.AddDate(0, 0, -1))
	wrong.Checks = []*pb.GaugeCheck{{Shown: 1.1, ReferenceValue: 1, StationTime: timestamppb.New(readOn.AddDate(0, 0, 9))}}
	return map[string]*pb.Gauge{"in date": sound(), "overdue": overdue, "found wrong": wrong, "not named": nameless}
}

// A bound that guards life is proved by a gauge in date and by no other; that it
// is broken any reading shows. The guarded bounds are the legal depths of the two
// laws and the 80 per cent of the service (tread-limits.csv, tyre-pressure-limits.csv).
func TestGuards_OnlyAGaugeInDateProvesThatLifeIsSafe(t *testing.T) {
	d := ours(t)
	guarded := guardedRules(d)
	if len(guarded) != 19 { // 7 pressures; 4 places by the two classes of Great Britain; 4 places of the United States
		t.Fatalf("%d rules guard life, want 19: %v", len(guarded), guarded)
	}
	for _, id := range guarded {
		r, v := d.rule(t, id[0], id[1]), heavy()
		if strings.HasPrefix(id[1], "tread-below-1.6-mm") {
			v = light()
		}
		if r.GetLimit().GetDecision() != pb.DecisionRule_DECISION_RULE_GUARDED || r.GetLimit().GetWhy() == "" {
			t.Errorf("%s guards life by %v, because %q", id[1], r.GetLimit().GetDecision(), r.GetLimit().GetWhy())
		}
		j := d.judge(t, v, id[0])
		for name, gauge := range standings(d.items[r.GetItems()[0]].GetParts()[0].GetQuantity()) {
			kept, broken := ofRule(j.Result(withGauge(madeWith(t, d, r, 1.2), gauge)), id[1]), ofRule(j.Result(withGauge(madeWith(t, d, r, 0.8), gauge)), id[1])
			if inDate := name == "in date"; inDate != (kept == nil) || !inDate && !undecided(kept) {
				t.Errorf("%s, 20 %% inside, gauge %s: %v", id[1], name, kept)
			}
			if broken == nil || undecided(broken) || broken.GetEffect() != r.GetEffect() {
				t.Errorf("%s, 20 %% outside, gauge %s: %v", id[1], name, broken)
			}
		}
	}
}

// ofRule gives what a rule says, undecided or not.
func ofRule(found []*pb.Finding, rule string) *pb.Finding {
	for _, f := range found {
		if f.GetRule() == rule {
			return f
		}
	}
	return nil
}

// Near the bound nobody can tell, as far as the gauge's error reaches: twice 0.975
// one-sided is 1.96 standard uncertainties, by the error and the step of the gauge
// (JCGM 100:2008, 4.3.7 and F.2.2.1: both rectangular).
func TestGuards_NobodyCanTellNearTheBound(t *testing.T) {
	d := ours(t)
	depth := &pb.Gauge{Name: "gauges/d-02", Quantity: pb.Quantity_QUANTITY_LENGTH, Resolution: 0.1, MaxPermissibleError: 0.2, CalibrationDue: timestamppb.New(readOn.AddDate(1, 0, 0))}
	pressure := &pb.Gauge{Name: "gauges/p-02", Quantity: pb.Quantity_QUANTITY_PRESSURE, Resolution: 10, MaxPermissibleError: 16, CalibrationDue: timestamppb.New(readOn.AddDate(1, 0, 0))}
	worth := func(g *pb.Gauge) float64 {
		return math.Sqrt(g.GetMaxPermissibleError()*g.GetMaxPermissibleError()/3 + g.GetResolution()*g.GetResolution()/12)
	}
	tread := func(mm float64) *pb.Observation { return depths(step(d.items["TYR-030"]), mm, mm, mm) }
	tyre := func(kpa float64) *pb.Observation { return read(step(d.items["TYR-110"], aimedAt(800)), kpa) }
	for _, tc := range []struct {
		pack, rule string
		vehicle    *pb.VehicleConfiguration
		gauge      *pb.Gauge
		bound      float64
		read       func(float64) *pb.Observation
	}{
		{gbPack, "tread-below-1.6-mm.TYR-030", light(), depth, 1.6, tread},
		{gbPack, "tread-below-1-mm.TYR-030", heavy(), depth, 1.0, tread},
		{usPack, "steer-tread-below-4-32.TYR-030", heavy(), depth, 3.175, tread},
		{policyPack, "TYR-110-02", heavy(), pressure, 640, tyre},
	} {
		j, u := d.judge(t, tc.vehicle, tc.pack), worth(tc.gauge)
		for _, k := range []float64{-2.1, -1.8, -0.5, 0.5, 1.8, 2.1} {
			f := ofRule(j.Result(withGauge(tc.read(tc.bound+k*u), tc.gauge)), tc.rule)
			want := map[bool]string{true: "broken", false: "kept"}[k < 0]
			if math.Abs(k) < 1.96 {
				want = "cannot tell"
			}
			got := "broken"
			if f == nil {
				got = "kept"
			} else if undecided(f) {
				got = "cannot tell"
			}
			if got != want {
				t.Errorf("%s, %v standard uncertainties from %v: %s, want %s", tc.rule, k, tc.bound, got, want)
			}
		}
	}
}

// The air tests are read off the dash, which no register vouches for. The service
// takes two readings to a twentieth of a bar for 2 kPa, one dash gauge for 12 kPa
// (common practice), and cannot tell nearer to the published limit than 1.96 of
// these; the annex is held to the same.
func TestGuards_AirTestsAllowForTheDash(t *testing.T) {
	d := ours(t)
	rows := table(t, "air-brake-limits.csv", 34)
	for _, tc := range []struct {
		published row
		item      string
		rules     map[string]string
		worth     float64 // kPa
		upper     bool
	}{
		{row{"check": "static leak, engine off, brakes released", "applies_to": "single vehicle"}, "BRA-120", map[string]string{policyPack: "BRA-120-01", annexPack: "1.1.21-b-2.BRA-120-01"}, 2, true},
		{row{"check": "applied leak, 90 psi or more on the pedal, after the first drop", "applies_to": "single vehicle"}, "BRA-130", map[string]string{policyPack: "BRA-130-01", annexPack: "1.1.21-b-2.BRA-130-01"}, 2, true},
		{row{"check": "low-pressure warning must come on before the pressure falls to"}, "BRA-140", map[string]string{policyPack: "BRA-140-01", annexPack: "1.1.4-2.BRA-140-01"}, 12, false},
		{row{"check": "parking brake control pops out, lower end"}, "BRA-150", map[string]string{policyPack: "BRA-150-01"}, 12, false},
	} {
		limit := find(t, rows, tc.published)
		kpa := kept(t, limit.number(t, "value"), limit["unit"])
		for pack, rule := range tc.rules {
			j := d.judge(t, heavy(), pack)
			for k, want := range map[float64]string{-2.1: "kept", -1.8: "cannot tell", 0: "cannot tell", 1.8: "cannot tell", 2.1: "broken"} {
				outward := k * tc.worth
				if !tc.upper {
					outward = -outward
				}
				o := read(step(d.items[tc.item]), kpa+outward)
				o.HasUncertainty = false // off the dash, not off a gauge of the register
				f, got := ofRule(j.Result(o), rule), "broken"
				if f == nil {
					got = "kept"
				} else if undecided(f) {
					got = "cannot tell"
				}
				if got != want {
					t.Errorf("%s, %v standard uncertainties beyond %v kPa (%s): %s, want %s", rule, k, kpa, limit["clause"], got, want)
				}
			}
		}
	}
}

// What a driver is told of a pressure is what the gauge showed and what that is at
// the reference temperature, and why a tyre that ran soft gets no air.
func TestTyrePressure_TextsSayWhatWasReadAndWhatItIs(t *testing.T) {
	d := ours(t)
	o := read(step(d.items["TYR-110"], aimedAt(800)), 600)
	o.Normalised, o.AsRead = true, 588 // what 600 kPa at the reference would read on a cold morning
	f := by(d.judge(t, heavy(), policyPack).Result(o), "TYR-110-02")
	for _, words := range []string{"reads 5.88 bar, at the reference temperature 6 bar, 75 % of its 8 bar", "Do not add air", "looked at inside"} {
		if !strings.Contains(f.GetText(), words) {
			t.Errorf("%q does not say %q", f.GetText(), words)
		}
	}
}

// A tyre counts as cold three hours after the engine stopped, or a mile after it
// started cold (common practice of the tyre trade).
func TestColdRules_TyresStandThreeHoursOrRollAMile(t *testing.T) {
	d := ours(t)
	rules := map[string]*pb.ColdRule{}
	for _, rule := range d.packs[policyPack].GetColdRules() {
		for _, id := range rule.GetItems() {
			rules[id] = rule
		}
	}
	asked := 0
	for _, id := range d.itemIDs() {
		rule := rules[id]
		if tyre := strings.HasPrefix(id, "TYR-") && isTyrePressure(d.items[id]); tyre != (rule != nil) {
			t.Errorf("%s, %s: %v", id, d.items[id].GetTitle(), rule)
		}
		if rule == nil {
			continue
		}
		asked++
		if rule.GetStood().AsDuration() != 3*time.Hour || math.Abs(rule.GetDrivenAtMostKm()-1.6) > 1e-9 {
			t.Errorf("%s is cold after %v, or %v km", id, rule.GetStood().AsDuration(), rule.GetDrivenAtMostKm())
		}
	}
	if asked != 6 {
		t.Errorf("%d items have a rule for cold, want 6", asked)
	}
}
