package main

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	ical "github.com/emersion/go-ical"
	"github.com/prometheus/client_golang/prometheus"

	"bayround/internal/command"
	"bayround/internal/stationtest"
)

// Dues, watches and calendars of the county on the command line: what each command says,
// and what it refuses.
func TestDue_OnTheCommandLine(t *testing.T) {
	t.Setenv("BAYROUND_SERVER", filled(t).address)
	requireIn(t, must(t, "due"), "VEHICLE", "STEPS LEFT", "wn11", "wn90", "shift check", "weekly check")
	requireIn(t, must(t, "due", "WN11", "--all"), "after an incident not due")
	if out := must(t, "due", "--station", "pellan-cross"); strings.Contains(out, "wn11") {
		t.Errorf("WN11 is of another station:\n%s", out)
	}
	requireIn(t, must(t, "incident", "wn11", "--person", "arkwith", "--note", "barn"), "recorded as event ", "after an incident due since", "(after an incident)")
	requireIn(t, must(t, "due", "wn11", "-o", "json"), "HAPPENING_KIND_INCIDENT", "DUE_STATE_DUE")
	requireIn(t, must(t, "watches", "skarholm-quay", "--from", "2026-03-28", "--days", "2"), "WATCH", "night", "Sat 28 Mar 19:30", "Sun 29 Mar 07:30", "11h0m0s")
	calendar, err := ical.NewDecoder(strings.NewReader(must(t, "calendar", "skarholm-quay", "--days", "8"))).Decode()
	if err != nil || len(calendar.Events()) == 0 {
		t.Errorf("the calendar cannot be read: %v", err)
	}
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"a vehicle nobody knows", []string{"due", "wn99"}, command.ExitRefused, "wn99"},
		{"a station nobody knows", []string{"calendar", "nowhere"}, command.ExitRefused, "nowhere"},
		{"too many days", []string{"watches", "skarholm-quay", "--days", "101"}, command.ExitRefused, "100 days"},
		{"no day", []string{"watches", "skarholm-quay", "--from", "Friday"}, command.ExitMisused, "2026-03-06"},
		{"nobody said", []string{"incident", "wn11"}, command.ExitMisused, "--person"},
		{"not yet back", []string{"incident", "wn11", "--person", "arkwith", "--returned", "2096-03-06T18:00"}, command.ExitRefused, "future"},
		{"no minute", []string{"incident", "wn11", "--person", "arkwith", "--returned", "noon"}, command.ExitMisused, "2026-03-06T18:00"},
		{"no format", []string{"due", "-o", "xml"}, command.ExitMisused, "xml"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
}

// Calendar programs subscribe beside the metrics.
func TestCalendarPage(t *testing.T) {
	k := stationtest.Open(t)
	k.ApplyAltered("triggers: [TRIGGER_SHIFT]}", `triggers: [TRIGGER_SHIFT], occasions: [{daily: {at: "07:30"}}]}`)
	pages := metricsPages(prometheus.NewRegistry(), k.Station)
	ask := func(path string) *httptest.ResponseRecorder {
		answer := httptest.NewRecorder()
		pages.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, path, nil))
		return answer
	}
	got := ask("/calendar/quay.ics")
	if got.Code != http.StatusOK || got.Header().Get("Content-Type") != "text/calendar; charset=utf-8" {
		t.Fatalf("%d %v %s", got.Code, got.Header(), got.Body)
	}
	if _, err := ical.NewDecoder(got.Body).Decode(); err != nil {
		t.Error(err)
	}
	for _, path := range []string{"/calendar/nowhere.ics", "/calendar/quay"} {
		if got := ask(path); got.Code != http.StatusNotFound || got.Body.Len() == 0 {
			t.Errorf("%s: %d %s", path, got.Code, got.Body)
		}
	}
}
