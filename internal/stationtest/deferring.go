package stationtest

import (
	"bytes"
	"testing"

	"bayround/internal/catalogue"
)

// SmallDeferring is the small station with officers, and a pack that lets some things
// wait: a leaking valve, which takes the vehicle off the run, for 3 days, a low pressure
// for 14, a cracked windscreen for 120; warned of 48 h and 4 h before.
func SmallDeferring(t testing.TB) []catalogue.File {
	t.Helper()
	content := Small()[0].Content
	for old, with := range map[string]string{
		"  - {name: people/mechanic,": "  - {name: people/officer, title: Officer, roles: [ROLE_OFFICER]}\n" +
			"  - {name: people/duty, title: Duty Officer, roles: [ROLE_DUTY_OFFICER]}\n  - {name: people/mechanic,",
		"        text: The valve leaks.":                       "        longest_deferral_days: 3\n        text: The valve leaks.",
		"        restrictions: [{kind: RESTRICTION_KIND_SPEED": "        longest_deferral_days: 14\n        restrictions: [{kind: RESTRICTION_KIND_SPEED",
		"        text: The windscreen is cracked.":             "        longest_deferral_days: 120\n        text: The windscreen is cracked.",
		"    authority: Quay\n": `    authority: Quay
    deferral:
      intervals:
        - {grade: GRADE_MINOR, interval: REPAIR_INTERVAL_D, when_over: EFFECT_RESPONDING_WITHOUT_LIMIT, source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}}
        - {grade: GRADE_MAJOR, interval: REPAIR_INTERVAL_C, when_over: EFFECT_RESPONDING, source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}}
      warnings: [48h, 4h]
      repeat_within: 720h
      extensions: 1
      systems:
        - id: tyres
          title: Tyres
          items: [TYR]
          together: EFFECT_RESPONDING
          source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}
      source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}
`,
	} {
		if bytes.Count(content, []byte(old)) != 1 {
			t.Fatalf("the small configuration has %q not once", old)
		}
		content = bytes.Replace(content, []byte(old), []byte(with), 1)
	}
	return []catalogue.File{{Name: "small.yaml", Content: content}}
}
