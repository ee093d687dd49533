package station_test

import (
	"strings"
	"testing"
	"time"

	ical "github.com/emersion/go-ical"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

const watches = `    time_zone: Europe/London
    calendar:
      changes: [{at: "07:30", watch: day}, {at: "19:30", watch: night}]
      rota_from: "2026-03-02"
      rota: [{crews: [red, white]}, {crews: [blue, red]}]
`

// scheduled opens a small station whose watches change at 07:30 and 19:30 and whose routines
// have occasions. Morning is Monday 2 March 2026, 07:30 in London.
func scheduled(t *testing.T) *stationtest.Kit {
	t.Helper()
	k := stationtest.Open(t)
	k.Clock.Advance(time.Minute)
	k.ApplyAltered(withOccasions()...)
	return k
}

// withOccasions is what the small configuration is altered by for it.
func withOccasions() []string {
	return []string{
		"    time_zone: Europe/London\n", watches,
		"triggers: [TRIGGER_SHIFT]}", "triggers: [TRIGGER_SHIFT], occasions: [{each_watch: {}, grace_minutes: 60}, {after_standing: {days: 7}}]}",
		"triggers: [TRIGGER_WEEKLY]}", `triggers: [TRIGGER_WEEKLY], occasions: [{weekly: {on: WEEKDAY_WEDNESDAY, at: "18:00"}, grace_days: 2}]}`,
		"triggers: [TRIGGER_BEFORE_TOW]}", "triggers: [TRIGGER_SHIFT], occasions: [{after: {kinds: [HAPPENING_KIND_INCIDENT, HAPPENING_KIND_REPAIR]}}]}",
		"required_routines: [routines/shift]", "required_routines: [routines/shift]\n    scheduled_routines: [routines/weekly]",
	}
}

func dueOf(t *testing.T, k *stationtest.Kit, vehicle, routine string) *pb.RoutineDue {
	t.Helper()
	every := []pb.DueState{1, 2, 3, 4}
	resp, err := k.ListDues(ctx, &pb.ListDuesRequest{Vehicle: vehicle, States: every})
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range resp.GetDues() {
		if d.GetRoutine() == routine {
			return d
		}
	}
	return nil
}

// hold holds a due against what a clock on the wall in London would show.
func hold(t *testing.T, what string, d *pb.RoutineDue, state pb.DueState, due, overdue string) {
	t.Helper()
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	show := func(at *timestamppb.Timestamp) string {
		if at == nil {
			return "-"
		}
		return at.AsTime().In(london).Format("Mon 2 15:04")
	}
	if d.GetState() != state || show(d.GetDue()) != due || show(d.GetOverdueFrom()) != overdue {
		t.Errorf("%s: %v due %s, overdue from %s (%q); want %v, %s, %s", what, d.GetState(), show(d.GetDue()), show(d.GetOverdueFrom()), d.GetText(), state, due, overdue)
	}
}

// A check is due when a watch begins and overdue when its grace ends; only looking at every
// step clears it. The wall clock's times are the calendar's own.
func TestDues_OfAWatch(t *testing.T) {
	k := scheduled(t)
	k.Clock.Advance(12 * time.Hour)
	hold(t, "never done", dueOf(t, k, p1, shift), pb.DueState_DUE_STATE_OVERDUE, "Mon 2 07:30", "Mon 2 08:30") // missed twice, due since the first
	round := k.OpenRound(p1, shift)
	steps := k.Plan(p1, shift).GetSteps()
	for _, s := range steps[1:] {
		k.Record(round, stationtest.Sound(s))
	}
	d := dueOf(t, k, p1, shift)
	if d.GetState() < pb.DueState_DUE_STATE_DUE || d.GetOpenSteps() != 1 || int(d.GetSteps()) != len(steps) || d.GetDone() != nil {
		t.Errorf("one step is left: %v", d)
	}
	k.Record(round, stationtest.Sound(steps[0]))
	hold(t, "done", dueOf(t, k, p1, shift), pb.DueState_DUE_STATE_COMING, "Tue 3 07:30", "Tue 3 08:30")
	k.Reopen()
	hold(t, "done, opened again", dueOf(t, k, p1, shift), pb.DueState_DUE_STATE_COMING, "Tue 3 07:30", "Tue 3 08:30")
	if got := k.Readiness(p1).GetRoutineDues(); len(got) != 2 || got[0].GetRoutine() != shift || !strings.Contains(got[0].GetText(), "shift check due Tue 3 Mar 07:30") {
		t.Errorf("readiness says %v", got)
	}
}

// A check that is half done before a watch and half in it is not done in that watch: what
// was looked at first says how old it is.
func TestDues_OfAWatch_CountTheOldestLook(t *testing.T) {
	k := scheduled(t)
	k.Clock.Advance(11*time.Hour + 44*time.Minute) // 19:15
	round, steps := k.OpenRound(p1, shift), k.Plan(p1, shift).GetSteps()
	k.Record(round, stationtest.Sound(steps[0]))
	k.Clock.Advance(30 * time.Minute)
	for _, s := range steps[1:] {
		k.Record(round, stationtest.Sound(s))
	}
	d := dueOf(t, k, p1, shift)
	hold(t, "half before the change of watch", d, pb.DueState_DUE_STATE_DUE, "Mon 2 19:30", "Mon 2 20:30")
	if d.GetOpenSteps() != 1 {
		t.Errorf("%d steps are open, want 1", d.GetOpenSteps())
	}
}

// The weekly check holds where it is scheduled though the verdict does not ask for it, and
// keeps its hour by the wall clock when British Summer Time begins on 29 March 2026.
func TestDues_OfAWeekOverTheSpringChange(t *testing.T) {
	k := scheduled(t)
	k.Clock.Advance(23 * 24 * time.Hour) // Wednesday 25 March 07:31
	k.RecordAll(p1, weekly)
	hold(t, "before the change", dueOf(t, k, p1, weekly), pb.DueState_DUE_STATE_COMING, "Wed 25 18:00", "Fri 27 18:00")
	k.Clock.Advance(12 * time.Hour)
	k.RecordAll(p1, weekly)
	d := dueOf(t, k, p1, weekly)
	hold(t, "over the change", d, pb.DueState_DUE_STATE_COMING, "Wed 1 18:00", "Fri 3 18:00")
	if want := time.Date(2026, 4, 1, 17, 0, 0, 0, time.UTC); !d.GetDue().AsTime().Equal(want) { // BST is UTC+1
		t.Errorf("due at %v, want %v", d.GetDue().AsTime(), want)
	}
}

func TestDues_AfterAnIncidentAndARepair(t *testing.T) {
	k := scheduled(t)
	const tow = "routines/before-tow"
	hold(t, "nothing happened", dueOf(t, k, p1, tow), pb.DueState_DUE_STATE_QUIET, "-", "-")
	k.RecordAll(p1, shift)
	k.Clock.Advance(time.Hour)
	req := &pb.RecordIncidentRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/driver", Note: "barn"}
	resp, err := k.RecordIncident(ctx, req)
	if err != nil || len(resp.GetDues()) != 1 || resp.GetDues()[0].GetBecause() != pb.HappeningKind_HAPPENING_KIND_INCIDENT {
		t.Fatalf("recorded: %v (%v)", resp, err)
	}
	if again, err := k.RecordIncident(ctx, req); err != nil || !proto.Equal(again, resp) {
		t.Errorf("again: %v (%v)", again, err)
	}
	k.Reopen()
	hold(t, "after an incident", dueOf(t, k, p1, tow), pb.DueState_DUE_STATE_OVERDUE, "Mon 2 08:31", "Mon 2 08:31")
	if d := dueOf(t, k, "vehicles/p2", tow); d.GetState() != pb.DueState_DUE_STATE_QUIET {
		t.Errorf("another vehicle: %v", d)
	}
	k.Clock.Advance(time.Minute)
	round := k.RecordAll(p1, shift)
	hold(t, "checked", dueOf(t, k, p1, tow), pb.DueState_DUE_STATE_QUIET, "-", "-")
	k.Clock.Advance(time.Minute)
	k.Record(round, leaking(valve))
	k.Clock.Advance(time.Minute)
	if _, err := k.RecordRepair(ctx, &pb.RecordRepairRequest{RequestId: k.ID(), Defect: openAt(k, valve), Person: "people/mechanic", Done: "valve renewed"}); err != nil {
		t.Fatal(err)
	}
	d := dueOf(t, k, p1, tow)
	if d.GetBecause() != pb.HappeningKind_HAPPENING_KIND_REPAIR || d.GetState() != pb.DueState_DUE_STATE_OVERDUE || d.GetOpenSteps() != d.GetSteps() {
		t.Errorf("after a repair: %v", d)
	}
	late := &pb.RecordIncidentRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/driver", Returned: timestamppb.New(k.Clock.Now().Add(time.Hour))}
	_, err = k.RecordIncident(ctx, late)
	refusal{fault.Invalid, "RETURNED_LATER"}.check(t, err)
	late.DeviceTime = timestamppb.New(k.Clock.Now().Add(59 * time.Minute)) // not even by its own clock
	_, err = k.RecordIncident(ctx, late)
	refusal{fault.Invalid, "RETURNED_LATER"}.check(t, err)
	late.DeviceTime, late.Used = late.GetReturned(), []string{"foam"} // of a tablet whose clock is ahead
	if _, err := k.RecordIncident(ctx, late); err != nil {
		t.Fatal(err)
	}
	var told *pb.JournalEvent
	if err := k.Events(ctx, 1, func(ev *pb.JournalEvent) error { told = ev; return nil }); err != nil {
		t.Fatal(err)
	}
	if run := told.GetIncidentRecorded(); !proto.Equal(run.GetReturned(), told.GetStationTime()) || len(run.GetUsed()) != 1 {
		t.Errorf("by a clock that is ahead: %v", told)
	}
}

// A vehicle that stood too long before it ran is to be checked, whatever it did since.
func TestDues_AfterStanding(t *testing.T) {
	k := scheduled(t)
	k.ApplyAltered("triggers: [TRIGGER_WEEKLY]}", "triggers: [TRIGGER_WEEKLY], occasions: [{after_standing: {days: 7}}]}",
		"required_routines: [routines/shift]", "required_routines: [routines/shift]\n    scheduled_routines: [routines/weekly]")
	k.RecordAll(p1, weekly)
	ran := func() {
		t.Helper()
		if _, err := k.RecordIncident(ctx, &pb.RecordIncidentRequest{RequestId: k.ID(), Vehicle: p1, Person: "people/driver"}); err != nil {
			t.Fatal(err)
		}
	}
	k.Clock.Advance(6 * 24 * time.Hour)
	ran()
	hold(t, "ran in time", dueOf(t, k, p1, weekly), pb.DueState_DUE_STATE_COMING, "Sun 15 07:31", "Sun 15 07:31")
	k.Clock.Advance(8 * 24 * time.Hour)
	ran()
	k.Clock.Advance(time.Hour)
	ran()
	k.Reopen()
	hold(t, "ran too late", dueOf(t, k, p1, weekly), pb.DueState_DUE_STATE_OVERDUE, "Sun 15 07:31", "Sun 15 07:31")
	k.RecordAll(p1, weekly)
	hold(t, "checked", dueOf(t, k, p1, weekly), pb.DueState_DUE_STATE_COMING, "Mon 23 08:31", "Mon 23 08:31")
}

// Whoever watches hears of a check that falls due by itself.
func TestDues_ChangeTheView(t *testing.T) {
	k := scheduled(t)
	k.RecordAll(p1, shift)
	before := k.Readiness(p1).GetRoutineDues()[0]
	k.Clock.Advance(before.GetChanges().AsTime().Sub(k.Clock.Now()))
	if after := k.Readiness(p1).GetRoutineDues()[0]; before.GetState() != pb.DueState_DUE_STATE_COMING || after.GetState() != pb.DueState_DUE_STATE_DUE {
		t.Errorf("from %v to %v", before, after)
	}
}

func TestListDues_Pages(t *testing.T) {
	k := scheduled(t)
	var names []string
	for token := ""; ; {
		resp, err := k.ListDues(ctx, &pb.ListDuesRequest{PageSize: 1, PageToken: token})
		if err != nil || len(resp.GetDues()) > 1 {
			t.Fatalf("%v (%v)", resp, err)
		}
		for _, d := range resp.GetDues() {
			names = append(names, d.GetVehicle()+" "+d.GetRoutine())
		}
		if token = resp.GetNextPageToken(); token == "" {
			break
		}
	}
	if got, want := strings.Join(names, ", "), "vehicles/p1 routines/shift, vehicles/p1 routines/weekly, vehicles/p2 routines/shift, vehicles/p2 routines/weekly"; got != want {
		t.Errorf("pages: %s, want %s", got, want)
	}
	if _, err := k.ListDues(ctx, &pb.ListDuesRequest{Vehicle: "vehicles/p9"}); !fault.Is(err, fault.NotFound) {
		t.Errorf("an unknown vehicle: %v", err)
	}
}

// The night of 28 March lasts eleven hours: clocks go from 01:00 to 02:00 (Summer Time
// Order 2002, SI 2002/262: 1 o'clock, Greenwich mean time, of the last Sunday in March).
func TestListWatches_OverTheSpringChange(t *testing.T) {
	k := scheduled(t)
	from := time.Date(2026, 3, 28, 20, 0, 0, 0, time.UTC)
	resp, err := k.ListWatches(ctx, &pb.ListWatchesRequest{Station: "stations/quay", From: timestamppb.New(from), Until: timestamppb.New(from.Add(12 * time.Hour))})
	if err != nil || len(resp.GetWatches()) != 2 {
		t.Fatalf("%v (%v)", resp, err)
	}
	night := resp.GetWatches()[0]
	if night.GetName() != "night" || night.GetCrew() != "white" || night.GetOn() != "2026-03-28" || night.GetEnds().AsTime().Sub(night.GetBegins().AsTime()) != 11*time.Hour {
		t.Errorf("the night: %v", night)
	}
	for name, req := range map[string]*pb.ListWatchesRequest{
		"STATION_UNKNOWN": {Station: "stations/nowhere"},
		"SPAN_WRONG":      {Station: "stations/quay", Until: timestamppb.New(from.AddDate(1, 0, 0))},
	} {
		if _, err := k.ListWatches(ctx, req); err == nil || !strings.Contains(reasonOf(err), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	k.ApplyAltered("Quay", "Quay ") // without a calendar again
	_, err = k.ListWatches(ctx, &pb.ListWatchesRequest{Station: "stations/quay"})
	refusal{fault.Precondition, "NO_CALENDAR"}.check(t, err)
	if resp, err := k.ListDues(ctx, &pb.ListDuesRequest{}); err != nil || len(resp.GetWithoutCalendar()) != 1 {
		t.Errorf("dues without a calendar: %v (%v)", resp, err)
	}
}

// A reader of calendars that others wrote finds each due once, and nobody's name.
func TestGetCalendarFeed_IsReadByOthers(t *testing.T) {
	k := scheduled(t)
	k.RecordAll(p1, shift)
	resp, err := k.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: "stations/quay", Days: 8})
	if err != nil {
		t.Fatal(err)
	}
	calendar, err := ical.NewDecoder(strings.NewReader(resp.GetCalendar())).Decode()
	if err != nil {
		t.Fatal(err)
	}
	starts, seen := map[string][]string{}, map[string]bool{}
	for _, e := range calendar.Events() {
		uid, _ := e.Props.Text(ical.PropUID)
		summary, _ := e.Props.Text(ical.PropSummary)
		at, err := e.DateTimeStart(time.UTC)
		if err != nil || seen[uid] {
			t.Fatalf("%s twice, or %v", uid, err)
		}
		seen[uid] = true
		starts[summary] = append(starts[summary], at.UTC().Format("2 15:04"))
	}
	if got := strings.Join(starts["Q1 weekly check"], ", "); got != "4 18:00" {
		t.Errorf("weekly: %s", got)
	}
	if got := strings.Join(starts["Q1 shift check"], ", "); !strings.HasPrefix(got, "2 19:30, 3 07:30, 3 19:30") || len(starts["Q1 shift check"]) != 16 {
		t.Errorf("shift: %s", got)
	}
	if strings.Contains(resp.GetCalendar(), "Driver") {
		t.Error("a person is named")
	}
	k.Clock.Advance(time.Minute)
	again, err := k.GetCalendarFeed(ctx, &pb.GetCalendarFeedRequest{Station: "stations/quay", Days: 8})
	if err != nil || strings.Count(again.GetCalendar(), "BEGIN:VEVENT") != len(seen) {
		t.Fatalf("again: %v", err)
	}
	for uid := range seen {
		if !strings.Contains(strings.ReplaceAll(again.GetCalendar(), "\r\n ", ""), uid) {
			t.Errorf("%s has gone", uid)
		}
	}
}

func TestApply_RefusesACalendarThatCannotBe(t *testing.T) {
	k := stationtest.Open(t)
	for name, altered := range map[string][]string{
		"no such watch":     {"    time_zone: Europe/London\n", watches, "triggers: [TRIGGER_SHIFT]}", "triggers: [TRIGGER_SHIFT], occasions: [{each_watch: {only: noon}}]}"},
		"changes unordered": {"    time_zone: Europe/London\n", strings.Replace(watches, "07:30", "20:30", 1)},
		"unknown zone":      {"    time_zone: Europe/London\n", strings.Replace(watches, "Europe/London", "Europe/Skarholm", 1)},
		"no day":            {"    time_zone: Europe/London\n", strings.Replace(watches, "2026-03-02", "2026-02-30", 1)},
		"one name":          {"    time_zone: Europe/London\n", strings.Replace(watches, "watch: night", "watch: day", 1)},
		"short row":         {"    time_zone: Europe/London\n", strings.Replace(watches, "[blue, red]", "[blue]", 1)},
		"no time of day":    {"    time_zone: Europe/London\n", strings.Replace(watches, "07:30", "7:30", 1)},
	} {
		_, err := k.Apply(ctx, &pb.ApplyRequest{RequestId: k.ID(), Files: k.Altered(altered...)})
		if !fault.Is(err, fault.Invalid) || !strings.Contains(err.Error(), "small.yaml:") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
