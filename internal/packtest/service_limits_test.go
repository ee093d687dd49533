package packtest

import (
	"regexp"
	"strconv"
	"strings"
	"testing"

	pb "bayround/proto/bayround/v1"
)

// condition is one limit of an item's limit rule, for instance v<0.80*plate:major.
var condition = regexp.MustCompile(`^v([<>])([0-9.]+)(?:\*(plate|sysV))?:`)

// keptPer is how many of the units we keep stand for one unit of the item catalogue.
var keptPer = map[string]float64{
	"min": 60, "days": 1, "km or h or days left": 1, "cm at rim": 10, "% between marks": 0.01, "% of tank": 0.01,
	"V": 1, "bar": 100, "mm": 1, "years old": 1, "K warmer than the other side": 1, "s to fire": 1, "s": 1, "degC": 1,
	"kPa under air": 1, "kg nose weight": 1, "% charge": 0.01,
}

// elsewhere are the limits that are not held at this number, and why.
var elsewhere = map[string]string{
	"v>110": "a level answer does not say how far above the mark", "v>100": "above the mark is tried below zero and beyond one only",
	"FLU-110 v<50": "the service level of three quarters holds, which the same rule calls a notice",
	"BRA-120":      "published in psi: air-brake-limits.csv", "BRA-130": "published in psi: air-brake-limits.csv",
	"BRA-140": "published in psi: air-brake-limits.csv", "BRA-150": "published in psi: air-brake-limits.csv",
	"TYR-030": "depends on where the depth lies: tread tests", "TYR-031": "depends on where the depth lies: tread tests",
	"TYR-140": "depends on where the depth lies: tread tests", "TYR-141": "depends on where the depth lies: tread tests",
	"TRL-080 v>plate": "no plate value in the configuration",
	// These mean volts of 24 in the table's three decimals; fault texts give 26, 29.5, 16 and 18 V.
	"ENG-140 v<1.083": "26.0 V", "ENG-140 v>1.229": "29.5 V", "ENG-150 v<0.667": "16 V",
}

// The limits of item-catalogue.csv (column limit_rule; basis and source in its
// own columns): what the policy says changes exactly at the number, and the
// number itself is still on the sound side.
func TestPolicy_LimitsAreThoseOfTheItemCatalogue(t *testing.T) {
	d := ours(t)
	j := d.judge(t, heavy(), policyPack)
	held := 0
	for _, r := range table(t, "item-catalogue.csv", 249) {
		for _, limit := range strings.Split(r["limit_rule"], ";") {
			m := condition.FindStringSubmatch(limit)
			id := r["item_id"]
			if m == nil || elsewhere[id] != "" || elsewhere["v"+m[1]+m[2]] != "" || elsewhere[id+" v"+m[1]+m[2]] != "" {
				continue
			}
			number, err := strconv.ParseFloat(m[2], 64)
			if err != nil {
				t.Fatal(err)
			}
			held++
			holdLimit(t, d, r, m[1], number*scaleOf(t, r, m[3]), func(o *pb.Observation) string { return join(ruleIDs(j.Result(o))) })
		}
	}
	if held < 70 {
		t.Errorf("only %d limits were held", held)
	}
}

// scaleOf is what a number of the table is multiplied with: the unit, the made
// placard of 800 kPa or the heavy vehicle's 24 V.
func scaleOf(t *testing.T, r row, of string) float64 {
	t.Helper()
	if of == "plate" {
		return 800
	}
	per, ok := keptPer[r["unit"]]
	if !ok {
		t.Fatalf("%s: unit %q", r["item_id"], r["unit"])
	}
	if of == "sysV" {
		return 24 * per
	}
	return per
}

func holdLimit(t *testing.T, d *defaults, r row, comparison string, limit float64, says func(*pb.Observation) string) {
	t.Helper()
	const near = 1e-3
	below, at, above := says(answer(d, r, limit-near)), says(answer(d, r, limit)), says(answer(d, r, limit+near))
	sound := above
	if comparison == ">" {
		sound = below
	}
	if below == above || at != sound {
		t.Errorf("%s at %v (%s; %s): below %q, at %q, above %q", r["item_id"], limit, r["limit_rule"], r["source"], below, at, above)
	}
}

// answer gives a value or level of an item.
func answer(d *defaults, r row, value float64) *pb.Observation {
	item := d.items[r["item_id"]]
	if item.GetAnswerKind() == pb.AnswerKind_ANSWER_KIND_LEVEL {
		return levelled(step(item), value)
	}
	values := make([]float64, len(item.GetParts()))
	for i := range values {
		values[i] = value
	}
	if isTyrePressure(item) {
		return read(step(item, aimedAt(800)), values...)
	}
	return read(step(item), values...)
}
