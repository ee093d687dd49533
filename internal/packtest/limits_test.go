package packtest

import (
	"strings"
	"testing"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

func join(ids []string) string { return strings.Join(ids, " ") }

// airRule says which rule stands for a row of air-brake-limits.csv, and in which
// unit its item keeps the value. Numbers and comparison come from the row.
type airRule struct {
	published row
	pack      string
	item      string
	rule      string
	upper     bool // broken above the limit, not below
}

func airRules() []airRule {
	leak := "static leak, engine off, brakes released"
	held := "applied leak, 90 psi or more on the pedal, after the first drop"
	return []airRule{
		{row{"check": leak, "applies_to": "single vehicle"}, usPack, "BRA-120", "leak-released", true},
		{row{"check": held, "applies_to": "single vehicle"}, usPack, "BRA-130", "leak-applied", true},
		{row{"check": "low-pressure warning must come on before the pressure falls to"}, usPack, "BRA-140", "warning-below-60-psi", false},
		{row{"check": "low-pressure warning must be on while a service reservoir is below"}, usPack, "BRA-140", "warning-below-60-psi", false},
		{row{"check": "parking brake control pops out, lower end"}, usPack, "BRA-150", "spring-brake-below-20-psi", false},
		{row{"check": "parking brake control pops out, upper end"}, usPack, "BRA-150", "spring-brake-above-45-psi", true},
		{row{"check": "parking brake control pops out, upper end"}, policyPack, "BRA-150", "BRA-150-02", true},
		{row{"check": "build-up from 85 to 100 psi", "applies_to": "dual air systems"}, usPack, "BRA-100", "build-up-over-45-s", true},
		{row{"check": "build-up from 85 to 100 psi", "applies_to": "dual air systems"}, policyPack, "BRA-100", "BRA-100-03", true},
		{row{"check": "build-up from 85 to 100 psi", "applies_to": "dual air systems"}, annexPack, "BRA-100", "1.1.3-b-1.BRA-100-03", true},
		{row{"check": "build-up from 50 to 90 psi at 600-900 rev/min"}, usPack, "OLD-030", "build-up-single-over-180-s", true},
		{row{"check": "build-up from 50 to 90 psi at 600-900 rev/min"}, policyPack, "OLD-030", "OLD-030-01", true},
	}
}

// Air-brake limits at, just below and just above the number published in
// air-brake-limits.csv: "less than" is broken at it, the others are not.
func TestAirBrakes_PublishedLimits(t *testing.T) {
	d := ours(t)
	rows := table(t, "air-brake-limits.csv", 34)
	for _, tc := range airRules() {
		limit := find(t, rows, tc.published)
		j := d.judge(t, heavy(), tc.pack)
		for _, s := range around(limit.number(t, "value"), 0.1) {
			broken := s.name == "at" && limit["comparison"] == "less than" ||
				tc.upper && s.name == "just above" || !tc.upper && s.name == "just below"
			found := j.Result(read(step(d.items[tc.item]), kept(t, s.value, limit["unit"])))
			if (by(found, tc.rule) != nil) != broken {
				t.Errorf("%s: %s %v %s (%s, %s): %v", tc.rule, s.name, s.value, limit["unit"], limit["source"], limit["clause"], ruleIDs(found))
			}
		}
	}
}

// kept converts a published number to the unit our items keep.
func kept(t *testing.T, value float64, unit string) float64 {
	t.Helper()
	to, from := map[string]string{"psi": "kPa", "psi per minute": "kPa/min", "second": "s"}[unit], unit
	if unit == "psi per minute" {
		from = "psi/min"
	}
	if unit == "second" {
		from = "s"
	}
	converted, err := measure.Convert(value, from, to)
	if err != nil {
		t.Fatal(err)
	}
	return converted
}

// The warning must come on at half of the cut-out at least (FMCSA guidance to
// 49 CFR 393.51, question 1, in air-brake-limits.csv).
func TestAirBrakes_WarningAgainstCutOut(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), usPack)
	share := find(t, table(t, "air-brake-limits.csv", 34), row{"clause": "49 CFR 393.51"}).number(t, "value") / 100
	const cutOut = 900.0
	for _, s := range around(share*cutOut, 1) {
		found := j.Groups([]*pb.Observation{
			read(step(d.items["BRA-110"]), cutOut), read(step(d.items["BRA-140"]), s.value),
		})
		if broken := by(found, "warning-below-half-of-cut-out") != nil; broken != (s.name == "just below") {
			t.Errorf("%s half: warning at %v of %v kPa: %v", s.name, s.value, cutOut, ruleIDs(found))
		}
	}
}

// Rows of air-brake-limits.csv that no rule stands for, and why.
func TestAirBrakes_EveryRowIsAccountedFor(t *testing.T) {
	leftOut := map[string]string{
		"two-vehicle combination":         "nobody is asked whether a trailer is coupled",
		"three or more vehicles":          "nobody is asked whether a trailer is coupled",
		"combination":                     "nobody is asked whether a trailer is coupled",
		"class A combination, Ontario":    "no Ontario pack",
		"class D single vehicle, Ontario": "no Ontario pack; 21 kPa per minute is the 3 psi of the others",
		"any, about":                      "usual values are no limits",
		"any, at least, MEMORY":           "the newer 55 psi is from memory, and laxer than the 60 psi that is verified",
		"FMVSS 121 S5.1.1.1":              "the cut-in pressure is not read",
		"FMVSS 121 S5.1.1":                "reservoir volumes are not in the configuration",
		"reg. 334":                        "no Western Australian pack",
		"NFPA 1901":                       "a rule for new apparatus, not for use",
		"Annex 7 para 2":                  "type approval, from memory",
		"1.1.3(a) line 1":                 "asked as a condition beside BRA-150, graded by the annex's own line",
		"1.1.3(a) line 2":                 "asked as a condition beside BRA-150, graded by the annex's own line",
		"49 CFR 393.51":                   "judged together with the cut-out, in a test of its own",
		"applied leakage test":            "the same number as the driver manual's",
		"static leakage test":             "laxer at the boundary than the driver manual's",
	}
	for _, r := range table(t, "air-brake-limits.csv", 34) {
		judged := false
		for _, rule := range airRules() {
			judged = judged || r.has(rule.published)
		}
		key := r["applies_to"] + ", " + r["comparison"]
		if !judged && leftOut[r["applies_to"]] == "" && leftOut[r["clause"]] == "" && leftOut[key] == "" && leftOut[key+", "+r["status"]] == "" {
			t.Errorf("nothing is said of: %s, %s, %s %s", r["check"], r["applies_to"], r["value"], r["unit"])
		}
	}
}

// A flat tyre is at or below half (tyre-pressure-limits.csv, out-of-service
// criteria); the service calls 20 per cent low off the run, at the boundary not yet.
func TestTyrePressure_PublishedLimits(t *testing.T) {
	d := ours(t)
	rows := table(t, "tyre-pressure-limits.csv", 8)
	flat := find(t, rows, row{"status": "VERIFIED", "value": "50"}).number(t, "value") / 100
	low := find(t, rows, row{"status": "MEMORY", "quantity": "tyre treated as run flat if below target by"}).number(t, "value") / 100
	for _, plate := range []float64{350, 450, 550, 800, 850} {
		for _, s := range around(flat*plate, 1) {
			for _, item := range []string{"TYR-010", "TYR-011", "TYR-110", "TYR-111", "TYR-120", "TYR-121", "TRL-050"} {
				found := d.judge(t, heavy(), usPack).Result(read(step(d.items[item], aimedAt(plate)), s.value))
				if broken := by(found, "flat."+item) != nil; broken != (s.name != "just above") {
					t.Errorf("%s flat, %s half of %v kPa: %v", item, s.name, plate, ruleIDs(found))
				}
			}
		}
		for _, s := range around((1-low)*plate, 1) {
			found := d.judge(t, heavy(), policyPack).Result(read(step(d.items["TYR-110"], aimedAt(plate)), s.value))
			if broken := by(found, "TYR-110-02") != nil; broken != (s.name == "just below") {
				t.Errorf("20 %% low, %s of %v kPa: %v", s.name, plate, ruleIDs(found))
			}
		}
	}
}

// Wheel fasteners against wheel-fastener-limits.csv, by wheel and by how many
// are loose or missing; its rows are named in the cases.
func TestWheelFasteners_PublishedLimits(t *testing.T) {
	d := ours(t)
	for _, tc := range []struct {
		published string
		pack      string
		positions int32
		affected  int32
		want      pb.Grade
	}{
		{"EU 5.2.1(a) line 1: any", annexPack, 10, 1, pb.Grade_GRADE_MAJOR},
		{"EU 5.2.1(a) line 2, read as the UK manual does: more than one", annexPack, 10, 2, pb.Grade_GRADE_DANGEROUS},
		{"UK DVSA 5.2.1(a)(i): one", gbPack, 10, 1, pb.Grade_GRADE_MAJOR},
		{"UK DVSA 5.2.1(a)(ii): more than one", gbPack, 10, 2, pb.Grade_GRADE_DANGEROUS},
		{"North America, 8 positions or fewer: 1", usPack, 8, 1, pb.Grade_GRADE_MAJOR},
		{"North America, 8 positions or fewer: 2 anywhere", usPack, 8, 2, pb.Grade_GRADE_DANGEROUS},
		{"North America, 10 positions: 1", usPack, 10, 1, pb.Grade_GRADE_MAJOR},
		{"North America, 10 positions: 2, perhaps adjacent", usPack, 10, 2, pb.Grade_GRADE_DANGEROUS},
		{"North America, 10 positions: 3 anywhere", usPack, 10, 3, pb.Grade_GRADE_DANGEROUS},
		{"service policy: any", policyPack, 10, 1, pb.Grade_GRADE_DANGEROUS},
	} {
		v := heavy()
		for _, axle := range v.GetAxles() {
			axle.Fixing.Count = tc.positions
		}
		for _, item := range []string{"WHL-010", "WHL-011", "WHL-110", "WHL-111"} {
			count := &pb.Count{Affected: tc.affected, Of: tc.positions}
			found := d.judge(t, v, tc.pack).Result(seen(step(d.items[item]), count, "01"))
			if len(found) != 1 || found[0].GetGrade() != tc.want {
				t.Errorf("%s at %s: %v", tc.published, item, found)
			}
		}
	}
}

// Free play against steering-free-play.csv: 2.5 inch on a wheel of 20 inch (49
// CFR 570.60), one fifth of a wheel of 500 mm (Directive 2014/45/EU, 2.3).
func TestFreePlay_PublishedLimits(t *testing.T) {
	d := ours(t)
	rows := table(t, "steering-free-play.csv", 5)
	us := find(t, rows, row{"steering_wheel_diameter_inch": "20"}).number(t, "max_lash_mm")
	eu := 500 * find(t, rows, row{"steering_wheel_diameter_inch": "any"}).number(t, "as_share_of_diameter")
	for _, tc := range []struct {
		pack, rule string
		limit      float64
	}{{usPack, "free-play", us}, {annexPack, "2.3-1.CAB-140-02", eu}, {policyPack, "CAB-140-01", 50}} {
		for _, s := range around(tc.limit, 0.1) {
			found := d.judge(t, heavy(), tc.pack).Result(read(step(d.items["CAB-140"]), s.value))
			if broken := by(found, tc.rule) != nil; broken != (s.name == "just above") {
				t.Errorf("%s, %s %v mm: %v", tc.rule, s.name, tc.limit, ruleIDs(found))
			}
		}
	}
}
