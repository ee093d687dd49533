package main

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"bayround/internal/command"
	"bayround/internal/faultpoint"
	"bayround/internal/photo"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// oldRecord is a record of five rounds of two years ago, each of which looked at one
// windscreen, took a photo and wrote a note: the newest and the one before it count.
func oldRecord(t *testing.T) (data string, photos []string) {
	t.Helper()
	data = t.TempDir()
	clock := stationtest.NewClock()
	clock.Advance(time.Now().AddDate(-2, 0, 0).Sub(clock.Now()))
	k := stationtest.OpenWith(t, clock, station.Options{Dir: data, Now: clock.Now, Defaults: stationtest.Small()})
	store, err := photo.Open(photo.Options{Dir: filepath.Join(data, photosFolder)})
	if err != nil {
		t.Fatal(err)
	}
	for n := range 5 {
		var content bytes.Buffer
		picture := image.NewGray(image.Rect(0, 0, 2, 2))
		picture.SetGray(0, 0, color.Gray{Y: uint8(40 * n)})
		if err := png.Encode(&content, picture); err != nil {
			t.Fatal(err)
		}
		sum, err := store.Put(content.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		photos = append(photos, sum)
		clock.Advance(8 * time.Hour)
		round := k.OpenRound("vehicles/p1", "routines/shift")
		result := stationtest.Seen("GLA-010/windscreen", "sound")
		result.Photos, result.Note = []string{sum}, fmt.Sprintf("windscreen note number %d", n)
		k.Record(round, result)
		if _, err := k.FinishRound(t.Context(), &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
			t.Fatal(err)
		}
	}
	k.Close()
	return data, photos
}

func TestPrune_DropsWhatNothingRestsOn(t *testing.T) {
	data, photos := oldRecord(t)
	folder := func(sum string) string { return filepath.Join(data, photosFolder, sum[:2], sum) }
	requireIn(t, must(t, "prune", "--data", data, "--keep-days", "1000"), "dropped 0 rounds")
	requireIn(t, must(t, "prune", "--data", data, "--dry-run"), "would drop 3 rounds with 9 events and 3 photos", "2 rounds from before then stay")
	if len(filesWith(t, data, "note number 0")) == 0 {
		t.Fatal("trying has dropped it")
	}
	requireIn(t, must(t, "prune", "--data", data), "dropped 3 rounds with 9 events and 3 photos, from before ")
	for n, sum := range photos {
		_, err := os.Stat(folder(sum))
		in := filesWith(t, data, fmt.Sprintf("note number %d", n))
		if kept := n > 2; kept != (err == nil) || kept != (len(in) > 0) {
			t.Errorf("round %d: its photo %v, its note in %v", n, err, in)
		}
	}
	requireIn(t, must(t, "verify", "--data", data), "sound", "of 9 only the hash")
	requireIn(t, must(t, "prune", "--data", data), "dropped 0 rounds")
	file := filepath.Join(t.TempDir(), "all.record")
	must(t, "export", file, "--data", data)
	must(t, "verify-export", file)
}

// threeMore lets three more rounds of two years ago be walked, so many days after the first ones.
func threeMore(t *testing.T, data string, days int) {
	t.Helper()
	clock := stationtest.NewClock()
	clock.Advance(time.Now().AddDate(-2, 0, days).Sub(clock.Now()))
	k := stationtest.OpenWith(t, clock, station.Options{Dir: data, Now: clock.Now, Defaults: stationtest.Small()})
	defer k.Close()
	for n := range 3 {
		clock.Advance(8 * time.Hour)
		id := func(what int) string { return fmt.Sprintf("0b1f8a52-3f0e-4f43-9d6a-%08d%02d%02d", days, what, n) }
		round := "rounds/" + id(1)
		_, err := k.Station.OpenRound(t.Context(), &pb.OpenRoundRequest{
			Round: round, Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/driver", Device: "tablet-1",
		})
		if err != nil {
			t.Fatal(err)
		}
		req := k.Request(round, stationtest.Seen("GLA-010/windscreen", "sound"))
		req.Result.ResultId = id(2)
		if _, err := k.Station.RecordResult(t.Context(), req); err != nil {
			t.Fatal(err)
		}
		if _, err := k.FinishRound(t.Context(), &pb.FinishRoundRequest{RequestId: id(3), Round: round}); err != nil {
			t.Fatal(err)
		}
	}
}

// A record that was pruned twice is backed up, restored, gone on with and pruned once more.
func TestPrune_GoesOnAfterARestore(t *testing.T) {
	data, _ := oldRecord(t)
	must(t, "prune", "--data", data)
	threeMore(t, data, 7)
	requireIn(t, must(t, "prune", "--data", data), "dropped 3 rounds with 9 events")
	top := t.TempDir()
	backup, anew := filepath.Join(top, "backup"), filepath.Join(top, "anew")
	must(t, "backup", "--to", backup, "--data", data)
	must(t, "restore", "--from", backup, "--data", anew)
	requireIn(t, must(t, "verify", "--data", anew), "sound", "of 18 only the hash")

	threeMore(t, anew, 14)
	requireIn(t, must(t, "prune", "--data", anew), "dropped 3 rounds with 9 events")
	requireIn(t, must(t, "verify", "--data", anew), "sound", "of 27 only the hash")
	s := serving(t, anew)
	requireIn(t, must(t, "readiness", "p1", "--server", s.address), "NOT PROVEN")
	s.stop()
}

func TestPrune_RefusesToKeepTooLittle(t *testing.T) {
	data, _ := oldRecord(t)
	for _, tc := range []struct {
		why  string
		args []string
		code int
		says string
	}{
		{"less than 15 months", []string{"--keep-days", "459"}, command.ExitMisused, "--below-15-months"},
		{"less than a day", []string{"--keep-days", "0", "--below-15-months"}, command.ExitMisused, "at least a day"},
		{"less than 15 months, and meant", []string{"--keep-days", "30", "--below-15-months", "--dry-run"}, command.ExitDone, ""},
		{"no record", []string{"--data", t.TempDir()}, command.ExitMisused, "is empty"},
	} {
		t.Run(tc.why, func(t *testing.T) {
			got := do(t, append([]string{"prune", "--data", data}, tc.args...)...)
			if got.code != tc.code {
				t.Errorf("exit code %d, want %d\n%s", got.code, tc.code, got.err)
			}
			requireIn(t, got.err, tc.says)
		})
	}
}

// A pruning that dies anywhere leaves a sound record that says what it said, whether
// the next start undoes it or finishes it.
func TestPrune_DiesAndIsDoneAgain(t *testing.T) {
	data, _ := oldRecord(t)
	program, died := binaryWithFaults(t), 0
	for hit := 1; ; hit++ {
		half := t.TempDir()
		copyFolder(t, half, data)
		prune := exec.Command(program, "prune", "--data", half) //nolint:gosec // our own binary
		prune.Env = append(os.Environ(), fmt.Sprintf("%s=%s=exit@%d", faultpoint.Variable, faultpoint.JournalInPrune, hit))
		out, err := prune.CombinedOutput()
		if err == nil {
			break // it is not reached so often
		}
		died++
		if bytes.Contains(out, []byte("dropped")) {
			t.Errorf("hit %d: it says that it is done: %s", hit, out)
		}
		requireIn(t, must(t, "verify", "--data", half), "sound")
		s := serving(t, half)
		requireIn(t, must(t, "readiness", "p1", "--server", s.address), "NOT PROVEN")
		if last := s.stop(); last.code != command.ExitDone {
			t.Errorf("hit %d: the station ends with %d\n%s", hit, last.code, last.err)
		}
		must(t, "prune", "--data", half)
		requireIn(t, must(t, "verify", "--data", half), "sound", "of 9 only the hash")
		if in := filesWith(t, filepath.Join(half, "badger"), "note number 0"); len(in) > 0 {
			t.Errorf("hit %d: what was dropped stands in %v", hit, in)
		}
	}
	if died < 3 {
		t.Errorf("it died %d times: the fault point is not where it was", died)
	}
}
