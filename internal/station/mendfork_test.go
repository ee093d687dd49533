package station_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// A longer history, signed with the same key, that leaves out what is signed of this one
// takes its place in no way, not even when a person accepts a loss.
func TestMend_PutsNoOtherHistoryInPlace(t *testing.T) {
	k := stationtest.Open(t)
	other := filepath.Join(t.TempDir(), "other")
	k.Close()
	if err := os.CopyFS(other, os.DirFS(k.Dir())); err != nil {
		t.Fatal(err)
	}
	k.Reopen()
	var before account
	var own string
	k.Lose(func() {
		k.RecordAll("vehicles/p1", "routines/shift")
		before, own = toldBy(t, k), recordFile(t, copyFrom(t, k, 0))
	})
	k.Close()
	fork := stationtest.OpenWith(t, k.Clock, station.Options{Dir: other, Now: k.Clock.Now, Defaults: stationtest.Small()})
	for range 3 {
		fork.RecordAll("vehicles/p2", "routines/shift")
	}
	if n := len(eventsOf(t, fork)); n <= len(before.events) {
		t.Fatalf("the other history has %d events, this one %d", n, len(before.events))
	}
	longer := recordFile(t, copyFrom(t, fork, 0))
	was := treeOf(t, k.Dir())
	for _, files := range [][]string{{longer}, {own, longer}} {
		for _, loss := range []*station.Loss{nil, {Person: "people/driver", Reason: "the disk was replaced"}} {
			report, err := station.Mend(ctx, station.MendOptions{Dir: k.Dir(), Files: files, Loss: loss, Now: k.Clock.Now()})
			if reasonTold(err) != "RECORD_FORKED" || report.Done {
				t.Errorf("from %d files, loss accepted %v: %+v, %v", len(files), loss != nil, report, err)
			}
		}
	}
	if now := treeOf(t, k.Dir()); now != was {
		t.Errorf("it was\n%s\nand is\n%s", was, now)
	}
	report := mend(t, k, own)
	k.Reopen()
	wantTold(t, k, before, report.Refilled)
}

// Once a loss was accepted, a copy of what was lost is no fork, and nothing of it comes back.
func TestMend_AfterAnAcceptedLossACopyOfWhatWasLostIsNoFork(t *testing.T) {
	k, _, stretches, _ := behindKit(t)
	k.Close()
	if report, err := station.Mend(ctx, station.MendOptions{Dir: k.Dir(), Now: k.Clock.Now(), Loss: &station.Loss{Person: "people/driver", Reason: "the disk was replaced"}}); err != nil || !report.Done {
		t.Fatalf("%+v, %v", report, err)
	}
	k.Clock.Advance(time.Minute)
	k.Reopen()
	var before account
	var whole []*pb.RecordPart
	k.Lose(func() {
		for range 4 {
			k.RecordAll("vehicles/p2", "routines/shift")
		}
		before, whole = toldBy(t, k), copyFrom(t, k, 0)
	})
	k.Close()
	report := mend(t, k, recordFile(t, whole), recordFile(t, stretches[0]))
	if !report.Done || !report.Enough {
		t.Fatalf("%+v", report)
	}
	k.Reopen()
	wantTold(t, k, before, report.Refilled)
}
