package station_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// sharing opens a small station at which a watch looks at the windscreen, and four items
// that are good for eight days are shared out over the watches. The verdict of p2 rests on
// them. Morning is Monday 2 March 2026, 07:31 in London.
func sharing(t *testing.T) *stationtest.Kit {
	t.Helper()
	k := stationtest.Open(t)
	k.Clock.Advance(time.Minute)
	k.ApplyAltered("    time_zone: Europe/London\n", watches, "good_for: 14h", "good_for: 192h",
		"triggers: [TRIGGER_SHIFT]}", "items: [GLA-010], occasions: [{each_watch: {}, grace_minutes: 60}]}",
		"triggers: [TRIGGER_WEEKLY]}", `items: [OIL-010, PMP-010, TYR-010, TYR-020], shared: true, occasions: [{weekly: {on: WEEKDAY_WEDNESDAY, at: "18:00"}}]}`,
		"required_routines: [routines/shift]", "required_routines: [routines/shift]\n    scheduled_routines: [routines/weekly]")
	return k
}

// takeShare does what a watch asks for: the shift check with its share taken along.
func takeShare(t *testing.T, k *stationtest.Kit, vehicle string) *pb.Round {
	t.Helper()
	with := dueOf(t, k, vehicle, shift).GetWithItems()
	name := "rounds/" + k.ID()
	opened, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: name, Vehicle: vehicle, Routine: shift, Driver: "people/driver", Device: "tablet-1", WithItems: with,
	})
	if err != nil {
		t.Fatal(err)
	}
	plan, err := k.GetPlan(ctx, &pb.GetPlanRequest{Vehicle: vehicle, Routine: shift, WithItems: with})
	if err != nil || plan.GetPlan().GetDigest() != opened.GetRound().GetPlanDigest() {
		t.Fatalf("the plan with %v is not that of the round (%v)", with, err)
	}
	for _, step := range plan.GetPlan().GetSteps() {
		k.Record(name, stationtest.Sound(step))
	}
	if _, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: name}); err != nil {
		t.Fatal(err)
	}
	return opened.GetRound()
}

// Watches that do what they are asked for keep the verdict and the check in order for three
// weeks, over the change of the clocks on 29 March 2026, though nobody walks the weekly check. A watch that does not leaves its share to the next.
func TestShare_OfEachWatch(t *testing.T) {
	k := sharing(t)
	k.Clock.Advance(13 * 24 * time.Hour)
	k.RecordAll(p2, weekly) // Sunday 15 March, 07:31
	took := map[string]int{}
	var left []string
	for watch := range 42 {
		d := dueOf(t, k, p2, weekly)
		if d.GetState() == pb.DueState_DUE_STATE_OVERDUE {
			t.Fatalf("watch %d: %v", watch, d)
		}
		var share []string
		for _, one := range d.GetShare() {
			share = append(share, one.GetItem())
		}
		if with := dueOf(t, k, p2, shift).GetWithItems(); !slices.Equal(with, share) || (len(share) > 0) != (d.GetState() == pb.DueState_DUE_STATE_DUE) {
			t.Fatalf("watch %d takes %v along, its share is %v: %v", watch, with, share, d)
		}
		for _, item := range left {
			if !slices.Contains(share, item) {
				t.Errorf("watch %d: %s was left, and is not asked for: %v", watch, item, share)
			}
		}
		if left = nil; watch%6 == 4 {
			left = share
		} else {
			for _, item := range takeShare(t, k, p2).GetWithItems() {
				took[item]++
			}
			if d := dueOf(t, k, p2, weekly); d.GetState() != pb.DueState_DUE_STATE_COMING || len(d.GetShare()) > 0 {
				t.Fatalf("watch %d has done its share: %v", watch, d)
			}
			if v := k.Readiness(p2).GetVerdict(); v != pb.Verdict_VERDICT_FIT {
				t.Fatalf("watch %d: %v", watch, v)
			}
		}
		k.Clock.Advance(12 * time.Hour)
	}
	for _, item := range []string{"OIL-010", "PMP-010", "TYR-010", "TYR-020"} {
		if took[item] < 2 || took[item] > 5 {
			t.Errorf("%s was done %d times in three weeks", item, took[item])
		}
	}
}

// A round keeps the share with which it was opened, also when it is read back.
func TestShare_StaysWithItsRound(t *testing.T) {
	k := sharing(t)
	d := dueOf(t, k, p2, weekly)
	hold(t, "never done", d, pb.DueState_DUE_STATE_DUE, "Mon 2 07:30", "Tue 10 07:30")
	if len(d.GetShare()) > 0 || !strings.Contains(d.GetText(), "walk it whole") || d.GetOpenSteps() != d.GetSteps() {
		t.Fatalf("what nobody ever looked at: %v", d)
	}
	round := k.OpenRound(p2, weekly)
	for _, step := range k.Plan(p2, weekly).GetSteps() {
		if step.GetItem() != "PMP-010" {
			k.Record(round, stationtest.Sound(step))
		}
	}
	k.Clock.Advance(7*24*time.Hour + 12*time.Hour) // the night of the last day on which they may be done
	d = dueOf(t, k, p2, weekly)
	if len(d.GetShare()) != 4 || !strings.Contains(d.GetText(), "4 items of it this watch") || d.GetOpenSteps() != d.GetSteps() {
		t.Fatalf("a week was missed, and one item was never looked at: %v", d)
	}
	opened := takeShare(t, k, p2)
	k.Reopen()
	read, err := k.GetRound(ctx, &pb.GetRoundRequest{Name: opened.GetName()})
	if err != nil || len(read.GetRound().GetWithItems()) != 4 || read.GetRound().GetAnswered() != opened.GetSteps() {
		t.Errorf("read back: %v (%v)", read, err)
	}
	hold(t, "done", dueOf(t, k, p2, weekly), pb.DueState_DUE_STATE_COMING, dueShown(t, k), "Tue 17 19:31")
}

// dueShown is the first watch after this one at which the feed has a share of the weekly check of p2.
func dueShown(t *testing.T, k *stationtest.Kit) string {
	t.Helper()
	resp, err := k.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: "stations/quay", Days: 14})
	if err != nil {
		t.Fatal(err)
	}
	calendar, err := ical.NewDecoder(strings.NewReader(resp.GetCalendar())).Decode()
	if err != nil {
		t.Fatal(err)
	}
	var first time.Time
	for _, e := range calendar.Events() {
		summary, _ := e.Props.Text(ical.PropSummary)
		at, err := e.DateTimeStart(time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(summary, "Q2 weekly check: ") && (first.IsZero() || at.Before(first)) {
			first = at
		}
	}
	return first.In(time.UTC).Format("Mon 2 15:04") // London keeps UTC in these weeks
}
