package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "bayround/proto/bayround/v1"

	"bayround/internal/command"
)

// checkedWN21 is a station at which WN21 was checked, its inner tyre found nearly
// flat, and WN11 found sound.
func checkedWN21(t *testing.T) {
	t.Helper()
	t.Setenv("BAYROUND_SERVER", serving(t, ofCheckedWN21.copy(t)).address)
}

func TestHistory_ListsPlacesAndShowsOne(t *testing.T) {
	checkedWN21(t)
	places := must(t, "history", "wn21")
	requireIn(t, places, "STEP", "NEWEST", "A WEEK", "FORECAST", "TYR-121/axle-2-offside-inner", "3.9 bar", "FLU-010/engine-oil")
	if strings.Contains(places, "LMP-040") {
		t.Error("an indicator is listed, at which nothing is measured")
	}
	one := must(t, "history", "WN21", "TYR-121/axle-2-offside-inner")
	requireIn(t, one, "vehicles/wn21, TYR-121/axle-2-offside-inner: ", "3.9 bar", "8 °C", "g-11", "too little to say")
	if strings.Contains(one, "o read") {
		t.Error("a chart of one measurement")
	}
	must(t, "play", "--again", round(t, "06-wn21-weekly.yaml"))
	requireIn(t, must(t, "history", "wn21", "TYR-120/axle-2-nearside-inner"), "o read", "8.51 bar |", "8.49 bar |")
	var asJSON struct {
		Points []struct{ Value float64 }
	}
	if err := json.Unmarshal([]byte(must(t, "history", "wn21", "TYR-121/axle-2-offside-inner", "-o", "json")), &asJSON); err != nil {
		t.Fatal(err)
	}
	if len(asJSON.Points) != 2 || asJSON.Points[0].Value != 390 {
		t.Errorf("as JSON: %+v", asJSON)
	}
	requireIn(t, must(t, "history", "wn12"), "nothing was measured on vehicles/wn12 yet")
}

func TestHistory_SaysTrendLimitsAndForecast(t *testing.T) {
	h := falling()
	h.Trend = &pb.Trend{
		Points: 6, Days: 35, HasSlope: true, SlopePerWeek: -9, SlopeLowPerWeek: -11, SlopeHighPerWeek: -7, PNoTrend: 0.004,
		SameInARow: 4, PSame: 0.01, UsedLPer_1000Km: 0.5, UsedLPer_100H: 1.2,
	}
	h.Peers = &pb.PeerTrend{DaysTogether: 6, HasLoss: true, LossKpaPerWeek: 8, PNoLoss: 0.001}
	h.Forecast = &pb.Forecast{Text: "reaches 8.35 bar between 3 and 9 March"}
	h.Limits[0].Pack, h.Limits[0].Rule, h.Limits[0].Text = "packs/county", "low", "90 % of the placard"
	var out strings.Builder
	newConsole(&out, &out).trendLines(h)
	requireIn(t, out.String(),
		"a week:    -0.09 bar (-0.11 bar to -0.07 bar), from 6 points over 35 days; p without a trend 0.004",
		"peers:     loses 0.08 bar a week (p 0.001); read together on 6 days", "use:       0.50 L in 1000 km, 1.20 L in 100 h",
		"the same:  the newest number stands there 4 times in a row; by itself that happens with p 0.01",
		"limit:     at least 8.35 bar: 90 % of the placard  [county low]", "forecast:  reaches 8.35 bar between 3 and 9 March")
}

func TestForecast_PrintsWhatIsHeadingForALimit(t *testing.T) {
	in := func(days int) *timestamppb.Timestamp {
		return timestamppb.New(time.Date(2026, 2, 3+days, 12, 0, 0, 0, time.Local))
	}
	var out strings.Builder
	newConsole(&out, &out).forecastTable([]*pb.StepForecast{{
		CallSign: "WN12", StepId: "TYR-030/axle-1-nearside", Title: "Front tread depth",
		Forecast: &pb.Forecast{Limit: &pb.LimitLine{Text: "3 mm on the front axle"}, Earliest: in(10), Likely: in(20)},
	}})
	requireIn(t, out.String(), "VEHICLE", "WN12", "TYR-030/axle-1-nearside", "23 Feb 2026  13 Feb 2026  perhaps never  3 mm on the front axle")
}

func TestForecast_SaysWhenNothingIsHeadingAnywhere(t *testing.T) {
	checkedWN21(t)
	requireIn(t, must(t, "forecast"), "nothing is heading for a limit")
	requireIn(t, must(t, "forecast", "-o", "json"), "{}")
}

func TestExplain_ListsFindingsAndTellsHowOneCameAbout(t *testing.T) {
	checkedWN21(t)
	list := must(t, "explain", "wn21")
	requireIn(t, list, "NO", "GRADE", "dangerous", "must not move", "wendmoor-policy TYR-121-01", "server explain wn21 NO")
	number := ""
	for _, line := range strings.Split(list, "\n") {
		if strings.Contains(line, "wendmoor-policy TYR-121-01 ") {
			number = strings.Fields(line)[0]
		}
	}
	told := must(t, "explain", "wn21", number)
	requireIn(t, told, "dangerous, must not move", "read ", "3.9 bar", ", by Oleta Fennigar, ", " GMT, ", "source ")
	requireIn(t, must(t, "explain", "wn11"), "there is no finding about wn11 now")

	requireIn(t, must(t, "print", "wn11"), "FIT TO RESPOND", "nil return")
	sheet := filepath.Join(t.TempDir(), "wn21.html")
	requireIn(t, must(t, "print", "wn21", "-o", sheet), "written to "+sheet)
	page, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	requireIn(t, string(page), "DO NOT MOVE", "3.9 bar", "Source", "verifier key")
}

func TestRehearse_SaysWhichVerdictsWouldHaveBeenOthers(t *testing.T) {
	checkedWN21(t)
	file := filepath.Join(t.TempDir(), "strict.yaml")
	writeFile(t, file, `rule_packs:
  - name: packs/gb-use
    version: "strict"
    title: Stricter
    authority: Test
    rules:
      - id: under-nine-bar
        scope: RULE_SCOPE_RESULT
        items: [TYR-120]
        when: "o.value < 900.0"
        grade: GRADE_DANGEROUS
        effect: EFFECT_MOVING
        text: "Under nine bar."
        source: {title: a test, status: SOURCE_STATUS_COMMON_PRACTICE}
`)
	printed := must(t, "rehearse", file)
	requireIn(t, printed, "WOULD HAVE BEEN", "wn11", "DO NOT MOVE", "Under nine bar.", "worse; ", "judged anew in ")
	requireIn(t, must(t, "packs", "doc", "gb-use"), "Authority: United Kingdom") // nothing was put in force
	requireIn(t, must(t, "readiness", "wn11"), "FIT TO RESPOND")
}

func TestHistoryCommands_RefuseWhatTheyCannotAnswer(t *testing.T) {
	checkedWN21(t)
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	writeFile(t, bad, "rule_packs:\n  - {name: packs/gb-use, version: x, title: x, authority: x, rule: []}\n")
	for _, tc := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"history"}, command.ExitMisused, "name a vehicle"},
		{[]string{"history", "wn21", "a", "b"}, command.ExitMisused, "there are 3"},
		{[]string{"history", "wn21", "-o", "xml"}, command.ExitMisused, "table or json"},
		{[]string{"history", "wn99"}, command.ExitRefused, "wn99"},
		{[]string{"history", "wn21", "TYR-121/nowhere"}, command.ExitRefused, "TYR-121/nowhere"},
		{[]string{"forecast", "--most", "0"}, command.ExitMisused, "1 or more"},
		{[]string{"explain", "wn99"}, command.ExitRefused, "wn99"},
		{[]string{"explain", "wn21", "99"}, command.ExitMisused, "no finding number 99"},
		{[]string{"explain", "wn11", "1"}, command.ExitMisused, "no finding about vehicles/wn11"},
		{[]string{"explain", "wn21", "packs/none rule"}, command.ExitRefused, "packs/none rule"},
		{[]string{"print"}, command.ExitMisused, "name one vehicle"},
		{[]string{"print", "wn99"}, command.ExitRefused, "wn99"},
		{[]string{"print", "wn21", "-o", filepath.Join(t.TempDir(), "no", "such")}, command.ExitMisused, "cannot be written"},
		{[]string{"gauge", "rejudge", "g-07"}, command.ExitRefused, "found G-07 tyre gauge wrong"},
		{[]string{"gauge", "rejudge", "g-99"}, command.ExitRefused, "g-99"},
		{[]string{"rehearse"}, command.ExitMisused, "rule packs to rehearse"},
		{[]string{"rehearse", bad}, command.ExitRefused, "bad.yaml:2:"},
	} {
		t.Run(strings.Join(tc.args, " "), func(t *testing.T) {
			got := do(t, tc.args...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s%s", got.code, tc.code, got.out, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
}
