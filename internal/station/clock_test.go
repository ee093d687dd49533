package station_test

import (
	"testing"
	"time"

	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// When somebody sets the clock back, the station's time never runs back, and
// answers go stale all the same, over restarts too.
func TestClock_SetBack(t *testing.T) {
	k := stationtest.Open(t)
	round := k.RecordAll(p1, shift)
	var last time.Time
	forward := func() {
		t.Helper()
		last = time.Time{}
		follow(t, k, "", func(ev *pb.JournalEvent) {
			if at := ev.GetStationTime().AsTime(); at.Before(last) {
				t.Errorf("event %d at %v, the one before at %v", ev.GetSequence(), at, last)
			}
			last = ev.GetStationTime().AsTime()
		})
	}
	k.Clock.Advance(-1000 * time.Hour)
	k.Record(round, stationtest.Seen(screen, "sound"))
	forward()
	due := k.Readiness(p1).GetUntil().AsTime()
	k.Clock.Advance(13 * time.Hour)
	k.Record(round, stationtest.Seen(screen, "sound"))
	forward()
	if r := k.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_FIT || r.GetAsOf().AsTime().Before(last) {
		t.Errorf("after 13 h: %v as of %v", r.GetVerdict(), r.GetAsOf().AsTime())
	}
	k.Clock.Advance(2 * time.Hour)
	if r := k.Readiness(p1); r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || !r.GetSince().AsTime().Equal(due) {
		t.Errorf("after 15 h: %v since %v, want UNPROVEN since %v", r.GetVerdict(), r.GetSince().AsTime(), due)
	}
	k.RecordAll(p1, shift)
	k.Reopen()
	k.Clock.Advance(15 * time.Hour)
	if v := k.Readiness(p1).GetVerdict(); v != pb.Verdict_VERDICT_UNPROVEN {
		t.Errorf("15 h after a restart: %v", v)
	}
	forward()
}

// A verdict that time brought about holds since that time, also when it comes
// to an event only later.
func TestSince_OfWhatTimeBrought(t *testing.T) {
	for name, happen := range map[string]func(k *stationtest.Kit, round string){
		"a result": func(k *stationtest.Kit, round string) { k.Record(round, stationtest.Seen(screen, "sound")) },
		"a change of the configuration": func(k *stationtest.Kit, _ string) {
			k.ApplyAltered("gross_mass_kg: 18000", "gross_mass_kg: 17900")
		},
		"a round": func(k *stationtest.Kit, _ string) { k.OpenRound(p1, shift) },
		"nothing": func(*stationtest.Kit, string) {},
	} {
		t.Run(name, func(t *testing.T) {
			k := stationtest.Open(t)
			round := k.RecordAll(p1, shift)
			due := k.Readiness(p1).GetUntil().AsTime()
			k.Clock.Advance(20 * time.Hour)
			happen(k, round)
			k.Clock.Advance(time.Hour)
			for _, when := range []string{"at once", "after a restart"} {
				r := k.Readiness(p1)
				if r.GetVerdict() != pb.Verdict_VERDICT_UNPROVEN || !r.GetSince().AsTime().Equal(due) {
					t.Errorf("%s: %v since %v, want UNPROVEN since %v", when, r.GetVerdict(), r.GetSince().AsTime(), due)
				}
				k.Reopen()
			}
		})
	}
}
