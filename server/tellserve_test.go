package main

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/catalogue"
	"bayround/internal/command"
	"bayround/internal/notice"
	"bayround/internal/notify"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// lastNight fills a record in which, sixteen hours ago, somebody began to be told, a
// vehicle was checked, and a leaking valve was allowed to wait until two hours
// from now. Answers are good for 14 hours, and a deferral is warned of four hours before its end.
func lastNight(t *testing.T, data string, file string) {
	content := stationtest.Small()[0].Content
	for old, with := range map[string]string{
		"  - {name: people/mechanic,":    "  - {name: people/officer, title: Officer, roles: [ROLE_OFFICER]}\n  - {name: people/mechanic,",
		"        text: The valve leaks.": "        longest_deferral_days: 3\n        text: The valve leaks.",
		"    authority: Quay\n": "    authority: Quay\n    deferral: {intervals: [{grade: GRADE_MAJOR, interval: REPAIR_INTERVAL_C, when_over: EFFECT_RESPONDING, source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}}], " +
			"warnings: [4h], repeat_within: 720h, extensions: 1, source: {title: House rules, status: SOURCE_STATUS_SERVICE_POLICY}}\n",
	} {
		if bytes.Count(content, []byte(old)) != 1 {
			t.Fatalf("the small configuration has %q not once", old)
		}
		content = bytes.Replace(content, []byte(old), []byte(with), 1)
	}
	clock := stationtest.NewClock()
	clock.Advance(time.Since(stationtest.Morning) - 16*time.Hour)
	k := stationtest.OpenWith(t, clock, station.Options{Dir: data, Now: clock.Now, Defaults: []catalogue.File{{Name: "small.yaml", Content: content}}})
	subscriptions, err := notify.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	n, err := notify.Open(k.Station, notify.Options{Data: data, Subscriptions: subscriptions})
	if err != nil {
		t.Fatal(err)
	}
	for n.States()[0].Written.IsZero() && t.Context().Err() == nil {
		runtime.Gosched()
	}
	n.Close()
	round := k.RecordAll("vehicles/p1", "routines/shift")
	k.Record(round, stationtest.Beside(stationtest.Read("TYR-010/axle-1-nearside", "pressure", 8, "bar"), "03"))
	if _, err := k.DeferDefect(context.Background(), &pb.DeferDefectRequest{
		RequestId: k.ID(), Defect: k.Readiness("vehicles/p1").GetOpenDefects()[0].GetName(), Person: "people/officer", Reason: "part is ordered",
		Restrictions: []*pb.Restriction{{Kind: pb.RestrictionKind_RESTRICTION_KIND_TASK, Text: "no motorway"}}, Until: timestamppb.New(clock.Now().Add(18 * time.Hour)),
	}); err != nil {
		t.Fatal(err)
	}
}

// The program with --subscriptions tells, after a night in which it did not run, what was
// recorded and what time alone has brought, each by its kind; and then what happens now.
func TestServe_TellsSubscribers(t *testing.T) {
	data, receiver := t.TempDir(), hear(t)
	file := subscriptionsFile(t, receiver.URL)
	t.Run("the night before", func(t *testing.T) { lastNight(t, data, file) })
	p := launchTelling(t, data, file)
	name := stop(t, p.address, "p2")
	var told []string
	for _, one := range receiver.until(aboutDefect("vehicles/"+strings.Replace(name, "/", "/defects/", 1), notice.DefectFound)) {
		if "bayround.v1."+string(one.data.Kind) != one.kind {
			t.Errorf("the event is %s, its data %s", one.kind, one.data.Kind)
		}
		told = append(told, fmt.Sprintf("%s %s %s>%s", one.data.CallSign, one.data.Kind, one.data.Was, one.data.Verdict))
	}
	want := []string{
		"Q1 verdict.changed >UNPROVEN", "Q2 verdict.changed >UNPROVEN", // as they stood when it began
		"Q1 verdict.changed UNPROVEN>FIT",
		"Q1 verdict.changed FIT>MOVE_ONLY", "Q1 defect.found >MOVE_ONLY",
		"Q1 verdict.changed MOVE_ONLY>RESTRICTED", // it may wait
		"Q1 deferral.ending >RESTRICTED",          // two hours ago
		"Q1 verdict.changed RESTRICTED>UNPROVEN", "Q1 checks.overdue >UNPROVEN",
		"Q2 verdict.changed UNPROVEN>UNFIT", "Q2 defect.found >UNFIT", // now
	}
	if told = slices.Compact(told); !slices.Equal(told, want) { // answer by answer becomes too old
		t.Errorf("told\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(want, "\n"))
	}
	if code := p.end(); code != command.ExitDone {
		t.Errorf("the server ended with %d\n%s", code, p.log)
	}
	requireIn(t, must(t, "subscriptions", "--data", data), "control", "well")
}
