package packtest

import (
	"testing"

	"bayround/internal/measure"
	pb "bayround/proto/bayround/v1"
)

// nextTo is how far below and above a limit a depth is tried, in millimetres;
// no gauge shows less.
const nextTo = 0.01

// side is one side of a limit.
type side struct {
	name  string
	value float64
}

// around gives a value just below a limit, at it and just above it.
func around(limit, step float64) []side {
	return []side{{"just below", limit - step}, {"at", limit}, {"just above", limit + step}}
}

// Tread depth against tread-limits.csv (its source column names the text): at
// the limit nobody can call a tyre illegal, just below it is. The legal depths are
// guarded: at the limit even the best gauge cannot prove that they are kept.
func TestTread_PublishedLimits(t *testing.T) {
	d := ours(t)
	rows := table(t, "tread-limits.csv", 15)
	for _, tc := range []struct {
		why       string
		published row
		pack      string
		vehicle   *pb.VehicleConfiguration
		items     []string
		rule      string
	}{
		{
			"three quarters of the breadth, heavy",
			row{"jurisdiction": "UK", "min_depth_mm": "1.0", "position": "any", "as_published": "1 mm", "band": "continuous band of at least three quarters of the breadth, all round"},
			gbPack, heavy(),
			[]string{"TYR-030", "TYR-031", "TYR-140", "TYR-141"},
			"tread-below-1-mm.",
		},
		{
			"central three quarters, light",
			row{"jurisdiction": "UK", "min_depth_mm": "1.6"},
			gbPack, light(),
			[]string{"TYR-030", "TYR-031", "TYR-140", "TYR-141"},
			"tread-below-1.6-mm.",
		},
		{
			"steering tyres",
			row{"jurisdiction": "US", "as_published": "4/32 inch"},
			usPack, heavy(),
			[]string{"TYR-030", "TYR-031"},
			"steer-tread-below-4-32.",
		},
		{
			"other tyres",
			row{"jurisdiction": "US", "as_published": "2/32 inch"},
			usPack, heavy(),
			[]string{"TYR-140", "TYR-141"},
			"tread-below-2-32.",
		},
		{
			"a service's own change depth",
			row{"jurisdiction": "UK", "min_depth_mm": "3.0"},
			policyPack, heavy(),
			[]string{"TYR-030", "TYR-031", "TYR-140", "TYR-141"},
			"",
		},
	} {
		limit := find(t, rows, tc.published)
		j := d.judge(t, tc.vehicle, tc.pack)
		for _, item := range tc.items {
			for _, s := range around(limit.number(t, "min_depth_mm"), nextTo) {
				rule := tc.rule + item
				if tc.rule == "" {
					rule = item + "-02"
				}
				found := j.Result(depths(step(d.items[item]), s.value, s.value, s.value, s.value, s.value))
				if broken := by(found, rule) != nil; broken != (s.name == "just below") {
					t.Errorf("%s (%s), %s %v mm at %s: %v", tc.why, limit["clause"], s.name, s.value, item, ruleIDs(found))
				}
			}
		}
	}
}

// The two thirty-seconds of an inch reach the rule exactly, whatever unit they
// were typed in: 4/32 in is 3.175 mm (tread-limits.csv, 49 CFR 393.75(b)).
func TestTread_LimitTypedInInches(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), usPack)
	for _, tc := range []struct {
		typed  float64
		item   string
		broken bool
	}{{4, "TYR-030", false}, {3.9, "TYR-030", true}, {2, "TYR-140", false}, {1.9, "TYR-140", true}} {
		mm, err := measure.Convert(tc.typed, "in/32", "mm")
		if err != nil {
			t.Fatal(err)
		}
		if found := ruleIDs(j.Result(depths(step(d.items[tc.item]), mm, mm, mm))); (len(found) > 0) != tc.broken {
			t.Errorf("%v/32 inch at %s sets off %v", tc.typed, tc.item, found)
		}
	}
}

// Great Britain looks at the best continuous three quarters above 3,500 kg, at
// the central three quarters below, and at every groove's base; the United
// States at the lowest point of any major groove (tread-limits.csv, column band).
func TestTread_WhereTheDepthIsLookedAt(t *testing.T) {
	d := ours(t)
	worn := []float64{0.5, 0.5, 4, 4, 4, 4, 4, 4, 4} // outer quarter worn
	edge := []float64{1.5, 1.7, 1.7, 1.7, 1.7, 1.7, 1.7, 1.7, 1.5}
	bald := []float64{0, 4, 4, 4, 4, 4, 4, 4, 4}
	for _, tc := range []struct {
		why     string
		pack    string
		vehicle *pb.VehicleConfiguration
		item    string
		depths  []float64
		want    string
	}{
		{"reg. 27(1)(g): the worn quarter lies outside the best band", gbPack, heavy(), "TYR-140", worn, ""},
		{"reg. 27(1)(f): base of a groove gone", gbPack, heavy(), "TYR-140", bald, "groove-base-gone.TYR-140"},
		{"reg. 27(4)(d): the centre counts, not the best band", gbPack, light(), "TYR-030", worn, "tread-below-1.6-mm.TYR-030"},
		{"reg. 27(4)(d): shoulders outside the central three quarters", gbPack, light(), "TYR-030", edge, ""},
		{"393.75(c): any point on a major groove", usPack, heavy(), "TYR-140", worn, "tread-below-2-32.TYR-140"},
		{"service policy: lowest below 1.6 mm", policyPack, heavy(), "TYR-140", worn, "TYR-140-02.below-1.6-mm"},
		{"annex 5.2.3(e)/1: wear indicator exposed", annexPack, heavy(), "TYR-140", worn, "5.2.3-e-1.TYR-140-02.below-1.6-mm"},
	} {
		found := ruleIDs(d.judge(t, tc.vehicle, tc.pack).Result(depths(step(d.items[tc.item]), tc.depths...)))
		if got := join(found); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.why, got, tc.want)
		}
	}
}

// Tyre age against tyre-age-limits.csv: 10 years at the front of a heavy
// vehicle, nothing said about its rear; the service changes at 7.
func TestTyreAge_PublishedLimits(t *testing.T) {
	d := ours(t)
	rows := table(t, "tyre-age-limits.csv", 4)
	law := find(t, rows, row{"jurisdiction": "UK", "applies_to": "front axles of goods vehicles over 3.5 t and of passenger vehicles with more than 8 passenger seats"})
	own := find(t, rows, row{"jurisdiction": "US", "kind": "standard"})
	carrier := light()
	carrier.Category, carrier.Seats = pb.VehicleCategory_VEHICLE_CATEGORY_M2, make([]*pb.Seat, 13)
	for i := range carrier.GetSeats() {
		carrier.Seats[i] = &pb.Seat{}
	}
	carrier.Axles[1].WheelsPerSide = 1
	for _, tc := range []struct {
		why     string
		limit   row
		pack    string
		vehicle *pb.VehicleConfiguration
		axle    int32
		rule    string
		speaks  bool
	}{
		{"front axle, heavy", law, gbPack, heavy(), 1, "age-over-10-years.front", true},
		{"rear axle, heavy", law, gbPack, heavy(), 2, "age-over-10-years.front", false},
		{"front axle, light", law, gbPack, light(), 1, "age-over-10-years.front", false},
		{"rear single wheel, 12 passengers", law, gbPack, carrier, 2, "age-over-10-years.rear-single", true},
		{"all tyres of fire apparatus", own, policyPack, heavy(), 2, "TYR-200-01", true},
	} {
		j := d.judge(t, tc.vehicle, tc.pack)
		for _, s := range around(tc.limit.number(t, "max_age_years"), 0.1) {
			found := j.Result(read(step(d.items["TYR-200"], at(spot, tc.axle, pb.Side_SIDE_NEARSIDE)), s.value))
			if broken := by(found, tc.rule) != nil; broken != (tc.speaks && s.name == "just above") {
				t.Errorf("%s, %s %v years (%s): %v", tc.why, s.name, s.value, tc.limit["clause"], ruleIDs(found))
			}
		}
	}
}
