package county_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"bayround/internal/catalogue"
	"bayround/internal/county"
	pb "bayround/proto/bayround/v1"
)

// planted is a fault that is hidden in the past, and by when the station must speak
// of it: what E1 of the scenario says.
type planted struct {
	what     string
	vehicle  string
	steps    []string // at any of which it may be spoken of
	from, by int      // days before today
}

// hiddenFaults are those that show in a history alone.
var hiddenFaults = []planted{
	{"slow leak: slope against peers speaks by week 5 (D-28)", "vehicles/wn21", []string{leakingWheel}, 63, 28},
	{"oil use: alarms about D-120, rising from D-210", "vehicles/wn12", []string{"FLU-010/engine-oil"}, 210, 113},
	{"air loss: inside limit but doubling, question raised before the limit", "vehicles/wn31", []string{"BRA-130/driver-seat"}, 120, 8},
	{"battery: 12.6 to 12.2 V over winter, standing drain found D-8", "vehicles/wn32", []string{"ELE-010/battery-box"}, 150, 8},
	{"copied readings: the same voltage every shift from D-110 to D-97", "vehicles/wn22", []string{"ELE-010/battery-box"}, 110, 97},
}

// historyRules are the rules of the packs that come with Bayround which look at
// what was measured before, by pack and id.
func historyRules(t *testing.T) map[string]bool {
	t.Helper()
	loaded, err := catalogue.Load(catalogue.Defaults())
	if err != nil {
		t.Fatalf("reading the packs: %v", err)
	}
	found := map[string]bool{}
	for _, pack := range loaded.RulePacks {
		for _, rule := range pack.GetRules() {
			looks := rule.GetWhen() + rule.GetLimit().GetNumber() + rule.GetLimit().GetBound()
			if strings.Contains(looks, ".trend") || strings.Contains(looks, ".peers") || strings.Contains(looks, "days_until") {
				found[pack.GetName()+" "+rule.GetId()] = true
			}
		}
	}
	if len(found) == 0 {
		t.Fatal("no rule looks at what was measured before")
	}
	return found
}

// spoken is when rules on histories spoke of a place: days before today, oldest first.
type spoken map[string][]int // by vehicle and step

// spokenOf gathers what rules on histories said while the past was lived through.
func (l *lived) spokenOf(t *testing.T) spoken {
	rules, all := historyRules(t), spoken{}
	for _, told := range l.told {
		for _, f := range told.Findings {
			if !rules[f.GetPack()+" "+f.GetRule()] {
				continue
			}
			for _, step := range placesOf(told, f) {
				key := told.Vehicle + " " + step
				if days := all[key]; len(days) == 0 || days[len(days)-1] != told.Ago {
					all[key] = append(days, told.Ago)
				}
			}
		}
	}
	return all
}

// placesOf are the places a finding speaks of: a rule on one result of its step, a
// rule on the whole vehicle of those that its words name.
func placesOf(told county.Told, f *pb.Finding) []string {
	if f.GetScope() == pb.RuleScope_RULE_SCOPE_RESULT || len(f.GetStepIds()) == 1 {
		return f.GetStepIds()
	}
	return slices.DeleteFunc(slices.Clone(f.GetStepIds()), func(step string) bool { return !strings.Contains(f.GetText(), step) })
}

func (l *lived) everyHiddenFaultIsFound(t *testing.T) {
	all := l.spokenOf(t)
	for _, fault := range hiddenFaults {
		first := 0
		for _, step := range fault.steps {
			for _, ago := range all[fault.vehicle+" "+step] {
				if ago <= fault.from {
					first = max(first, ago)
				}
			}
		}
		if first < fault.by {
			t.Errorf("%s: first spoken of on D-%d, want by D-%d; %s: %v", fault.what, first, fault.by, fault.vehicle, all[fault.vehicle+" "+fault.steps[0]])
			continue
		}
		t.Logf("%s: found on D-%d", fault.what, first)
	}
}

// Oil use by distance and hours: the scenario has it alarm about D-120. It is held to
// within a month of that, as package trend holds it in histories read daily.
func (l *lived) oilUseIsSeenByDistanceAndHours(t *testing.T) {
	first := 0
	for _, told := range l.told {
		for _, f := range told.Findings {
			if told.Vehicle == "vehicles/wn12" && f.GetRule() == "FLU-010.uses-more" {
				first = max(first, told.Ago)
			}
		}
	}
	t.Logf("oil use by distance and hours: found on D-%d", first)
	if first < 90 || first > 150 {
		t.Errorf("oil use by distance and hours is first spoken of on D-%d, the scenario says about D-120", first)
	}
}

// mostFalseAlarms is one question too many for each of the eight vehicles with an
// engine in fifteen months: what a workshop bears. By the rates that package trend's
// DESIGN.md gives (3.2 % an autumn of twenty weeks for the wheels of a vehicle, one in
// 473 readings for a chart) some four are to be expected in this past.
const mostFalseAlarms = 8

// aftermath is a place at which something was done in the past that a rule on
// histories may speak of for a while, though no fault is hidden there: tyres that
// were let down and filled again, a battery after its copied readings.
func aftermath(key string, ago int) bool {
	return ago < 36 && (strings.HasPrefix(key, "vehicles/wn11 TYR-01") || strings.HasPrefix(key, "vehicles/wn32 TYR-01")) ||
		ago < 97 && key == "vehicles/wn22 ELE-010/battery-box"
}

// falseAlarms counts what was spoken of where nothing is wrong. One alarm is a run
// of days on which the same is spoken of; a month without begins another.
func (l *lived) falseAlarms(t *testing.T) {
	alarms, after := 0, 0
	all := l.spokenOf(t)
	for _, key := range slices.Sorted(maps.Keys(all)) {
		before := math.MaxInt
		for _, ago := range all[key] {
			if isPlanted(key, ago) {
				continue
			}
			if before-ago > 30 && aftermath(key, ago) {
				after++
			} else if before-ago > 30 {
				alarms++
				t.Logf("false alarm: %s on D-%d", key, ago)
			}
			before = ago
		}
	}
	t.Logf("%d alarms more in the aftermath of what happened", after)
	t.Logf("%d false alarms in %d readings of numbers, by %d rules on histories", alarms, l.readings(), len(historyRules(t)))
	if alarms > mostFalseAlarms {
		t.Errorf("%d false alarms, want %d at most", alarms, mostFalseAlarms)
	}
}

// readings is how many numbers were read.
func (l *lived) readings() (n int) {
	for _, told := range l.told {
		if told.Result.GetSeen() == nil && told.Result.GetNotChecked() == nil {
			n++
		}
	}
	return n
}

// isPlanted tells whether a fault is hidden at a place on a day.
func isPlanted(key string, ago int) bool {
	return slices.ContainsFunc(hiddenFaults, func(p planted) bool {
		return ago <= p.from && slices.ContainsFunc(p.steps, func(step string) bool { return key == p.vehicle+" "+step })
	})
}

// rejudged: E1 wants 41 readings judged anew, and three verdicts that would have
// been worse: of WN11 twice, of WN32 once. A verdict is counted once for each check
// that ended FIT.
func (l *lived) rejudged(t *testing.T) {
	worse := map[string]bool{}
	var done *pb.Rejudged
	err := l.RejudgeGauge(t.Context(), &pb.RejudgeGaugeRequest{Gauge: "gauges/g-03"}, func(m *pb.RejudgeGaugeResponse) error {
		if c := m.GetChange(); c != nil && c.GetWas() == pb.Verdict_VERDICT_FIT && c.GetWouldBe() > c.GetWas() {
			ago := today.Truncate(county.Day).Sub(c.GetAt().AsTime().Truncate(county.Day)) / county.Day
			worse[fmt.Sprintf("%s D-%d", c.GetVehicle(), ago)] = true
		}
		if m.GetDone() != nil {
			done = m.GetDone()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if done.GetResults() != 41 {
		t.Errorf("%d readings were judged anew, want 41", done.GetResults())
	}
	want := []string{"vehicles/wn11 D-14", "vehicles/wn11 D-21", "vehicles/wn32 D-35"}
	if got := slices.Sorted(maps.Keys(worse)); !slices.Equal(got, want) {
		t.Errorf("verdicts that would have been worse: %q, want %q", got, want)
	}
}
