package station_test

import (
	"bytes"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/station"
	"bayround/internal/stationtest"
)

// What was dropped when its time was over stays dropped, although a copy from before
// still holds it and is needed for the repair.
func TestMend_BringsNoDroppedContentBack(t *testing.T) {
	k := stationtest.Open(t)
	for range 120 {
		k.Clock.Advance(8 * time.Hour)
		finish(t, k, k.RecordAll("vehicles/p1", "routines/shift"))
	}
	older := recordFile(t, copyFrom(t, k, 0))
	k.Close()
	pruned, err := prune(k, 10*24*time.Hour)
	if err != nil || pruned.Events == 0 {
		t.Fatalf("%+v, %v", pruned, err)
	}
	k.Reopen()
	var hash []byte // of an event that was dropped
	for _, part := range copyFrom(t, k, 0) {
		for _, event := range part.GetCommand().GetEvents() {
			if event.GetRecord() == nil {
				hash = event.GetLeafHash()
			}
		}
	}
	said := comparable(k.Readiness("vehicles/p1"))
	k.Close()
	spoilHash(t, k.Dir(), hash)
	report := mend(t, k, older)
	if !report.Done || report.Sources[1].Used == 0 {
		t.Fatalf("the older copy was not needed, so this test has seen nothing: %+v", report)
	}
	if sound, err := station.Verify(ctx, k.Dir(), slog.New(slog.DiscardHandler)); err != nil || sound.Dropped != uint64(pruned.Events) {
		t.Errorf("%d events had been dropped; of the repaired record %d are: %v", pruned.Events, sound.Dropped, err)
	}
	k.Reopen()
	if d := diff(said, comparable(k.Readiness("vehicles/p1"))); d != "" {
		t.Errorf("readiness (-before +after):\n%s", d)
	}
}

// spoilHash flips a bit of a hash, wherever the store holds it.
func spoilHash(t testing.TB, dir string, hash []byte) {
	t.Helper()
	tables, err := filepath.Glob(filepath.Join(dir, "badger", "*.sst"))
	if err != nil {
		t.Fatal(err)
	}
	spoilt := 0
	for _, name := range tables {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if at := bytes.Index(content, hash); at >= 0 {
			content[at] ^= 1
			if err := os.WriteFile(name, content, 0o600); err != nil {
				t.Fatal(err)
			}
			spoilt++
		}
	}
	if len(hash) == 0 || spoilt == 0 {
		t.Fatalf("the hash %x is in no table", hash)
	}
}
