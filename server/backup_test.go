package main

import (
	"bytes"
	"image"
	"image/png"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/command"
	"bayround/internal/photo"
	pb "bayround/proto/bayround/v1"
)

// photographed is a small picture of its own.
func photographed(t *testing.T, width int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, width, 2))); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// recordPhotos records a result that speaks of photos.
func recordPhotos(t *testing.T, address string, photos ...string) {
	t.Helper()
	const name = "rounds/6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c11"
	err := asking(address, func(s *remote) error {
		plan, err := s.vehicles.GetPlan(t.Context(), &pb.GetPlanRequest{Vehicle: "vehicles/t1", Routine: "routines/before-tow"})
		if err != nil {
			return err
		}
		_, err = s.rounds.OpenRound(t.Context(), &pb.OpenRoundRequest{
			Round: name, Vehicle: "vehicles/t1", Routine: "routines/before-tow", Driver: "people/fennigar", Device: "tablet-2", Conditions: &pb.RoundConditions{},
		})
		if err != nil {
			return err
		}
		_, err = s.rounds.RecordResult(t.Context(), &pb.RecordResultRequest{Round: name, Result: &pb.Result{
			ResultId: "6f1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c12", StepId: plan.GetPlan().GetSteps()[0].GetStepId(), Person: "people/fennigar", Device: "tablet-2",
			DeviceTime: timestamppb.Now(), Photos: photos, Note: "see the picture",
			Answer: &pb.Result_NotChecked{NotChecked: &pb.NotChecked{Reason: pb.NotCheckedReason_NOT_CHECKED_REASON_OTHER}},
		}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// photographedStation is a running station with a county, a round and two photos of
// which one has arrived.
func photographedStation(t *testing.T, data string) (s *served, kept []byte) {
	t.Helper()
	s = serving(t, data)
	must(t, "apply", county(t), "--server", s.address)
	kept = photographed(t, 3)
	recordPhotos(t, s.address, photo.Sum(kept), photo.Sum(photographed(t, 4)))
	if _, err := photosOf(t, s.address).PutPhoto(t.Context(), &pb.PutPhotoRequest{Sha256: photo.Sum(kept), Content: kept}); err != nil {
		t.Fatal(err)
	}
	return s, kept
}

// filesIn lists the files below a folder.
func filesIn(t *testing.T, folder string) (names []string) {
	t.Helper()
	err := filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() {
			name, _ := filepath.Rel(folder, path)
			names = append(names, name)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

func TestBackup_IsRestoredByAnotherProcessWhileTheStationGoesOn(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	s, kept := photographedStation(t, data)
	players := newAcks()
	enough, played := players.arm(20), make(chan []int, 1)
	go func() { played <- players.playAll(t, s.address, 0) }()
	<-enough
	backup := filepath.Join(folder, "backup")
	said := must(t, "backup", "--to", backup, "--data", data, "--server", s.address)
	requireIn(t, said, " events, the newest of ", "1 photos", "1 photos that results speak of had not arrived", "the signing key is in it")
	for _, code := range <-played { // they were not disturbed
		if code != command.ExitDone {
			t.Errorf("a player ended with %d", code)
		}
	}
	requireIn(t, must(t, "backup", "verify", backup), "sound: backup of ")

	// What the backup holds, a station of its own process says of everything in it.
	restored := filepath.Join(folder, "restored")
	printed, code := outside(t.Context(), t, binary(t), "restore", "--from", backup, "--data", restored)
	if code != command.ExitDone {
		t.Fatalf("restore: exit code %d\n%s", code, printed)
	}
	requireIn(t, printed, "restored into "+restored, "no gap", "the newest event is of ", "1 photos", "1 photos that results speak of were not in the backup", "two histories")
	requireIn(t, must(t, "verify", "--data", restored), "sound: ")
	p := launch(t, restored)
	got, err := photosOf(t, p.address).GetPhoto(t.Context(), &pb.GetPhotoRequest{Sha256: photo.Sum(kept)})
	if err != nil || !bytes.Equal(got.GetContent(), kept) {
		t.Errorf("the photo after the restore is %v, %v", got, err)
	}
	// Whoever had no answer, or one from after the backup, repeats.
	for _, code := range players.playAll(t, p.address, 0) {
		if code != command.ExitDone {
			t.Errorf("at the restored station a player ended with %d", code)
		}
	}
	if code := p.end(); code != command.ExitDone {
		t.Errorf("the restored station ended with %d\n%s", code, p.log)
	}
}

func TestRestore_SaysOfEveryVehicleWhatTheStationSaid(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	s, _ := photographedStation(t, data)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), round(t, "06-wn21-weekly.yaml"), "--server", s.address)
	backup := filepath.Join(folder, "backup")
	must(t, "backup", "--to", backup, "--server", s.address) // from afar: without the key
	before := must(t, "readiness", "--server", s.address)
	s.stop()
	requireIn(t, must(t, "backup", "verify", backup), "the signing key is not in it", "the MANIFEST is not signed")
	if slices.Contains(filesIn(t, backup), keyName) {
		t.Error("the key left the station")
	}
	restored := filepath.Join(folder, "restored")
	requireIn(t, must(t, "restore", "--from", backup, "--data", restored), "the signing key was not in the backup")
	if got := do(t, "serve", "--data", restored, "--listen", "127.0.0.1:0", "--metrics", ""); got.code != command.ExitRefused {
		t.Errorf("without its key a station starts: exit code %d\n%s", got.code, got.err)
	}
	key, err := os.ReadFile(filepath.Join(data, keyName))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(restored, keyName), string(key))
	s = serving(t, restored)
	if after := must(t, "readiness", "--server", s.address); after != before {
		t.Errorf("before:\n%s\nafter:\n%s", before, after)
	}
}

func TestBackup_EveryWrongByteIsFoundAndNothingIsPutInPlace(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	s, _ := photographedStation(t, data)
	remote := filepath.Join(folder, "from-afar") // its manifest is not signed
	must(t, "backup", "--to", remote, "--server", s.address)
	s.stop()
	whole := filepath.Join(folder, "whole")
	must(t, "backup", "--to", whole, "--data", data)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	target := filepath.Join(folder, "restored")
	for _, backup := range []string{whole, remote} {
		files := filesIn(t, backup)
		if len(files) < 3 {
			t.Fatalf("the backup holds %v", files)
		}
		for _, name := range files {
			path := filepath.Join(backup, name)
			content, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for range 8 {
				at, bit := random.IntN(len(content)), byte(1)<<random.IntN(8)
				content[at] ^= bit
				writeFile(t, path, string(content))
				got := do(t, "restore", "--from", backup, "--data", target)
				if got.code != command.ExitDamaged && got.code != command.ExitRefused || !strings.Contains(got.err, name) {
					t.Errorf("bit %d of byte %d of %s flipped: exit code %d, %s", bit, at, name, got.code, got.err)
				}
				if _, err := os.Stat(target); err == nil {
					t.Fatalf("something was put in place of a backup with a wrong byte in %s", name)
				}
				content[at] ^= bit
			}
			writeFile(t, path, string(content))
		}
		must(t, "backup", "verify", backup)
	}
}

func TestBackup_WhatIsMissingOrAddedIsFound(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	s, _ := photographedStation(t, data)
	s.stop()
	whole := filepath.Join(folder, "whole")
	must(t, "backup", "--to", whole, "--data", data)
	for _, name := range filesIn(t, whole) {
		path := filepath.Join(whole, name)
		if err := os.Rename(path, filepath.Join(folder, "aside")); err != nil {
			t.Fatal(err)
		}
		if got := do(t, "backup", "verify", whole); got.code == command.ExitDone || !strings.Contains(got.err, name) {
			t.Errorf("without %s: exit code %d, %s", name, got.code, got.err)
		}
		if err := os.Rename(filepath.Join(folder, "aside"), path); err != nil {
			t.Fatal(err)
		}
	}
	writeFile(t, filepath.Join(whole, "photos", "letter"), "added")
	if got := do(t, "backup", "verify", whole); got.code != command.ExitDamaged || !strings.Contains(got.err, "letter") {
		t.Errorf("with a letter in it: exit code %d, %s", got.code, got.err)
	}
}

func TestBackup_NothingIsWrittenOver(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	serving(t, data).stop()
	full := filepath.Join(folder, "full")
	writeFile(t, filepath.Join(full, "letter"), "mine")
	if got := do(t, "backup", "--to", full, "--data", data); got.code != command.ExitMisused {
		t.Errorf("a backup over something: exit code %d", got.code)
	}
	// What an interrupted one left is begun anew, and is no backup.
	broken := filepath.Join(folder, "backup")
	writeFile(t, filepath.Join(broken+".tmp", recordName), "half")
	if got := do(t, "restore", "--from", broken+".tmp", "--data", filepath.Join(folder, "new")); got.code != command.ExitRefused {
		t.Errorf("an unfinished backup: exit code %d, %s", got.code, got.err)
	}
	must(t, "backup", "--to", broken, "--data", data)
	if _, err := os.Stat(broken + ".tmp"); err == nil {
		t.Error("the draft is left")
	}
	if got := do(t, "restore", "--from", broken, "--data", full); got.code != command.ExitRefused {
		t.Errorf("a restore over something: exit code %d, %s", got.code, got.err)
	}
	if got := do(t, "restore", "--from", broken, "--data", data); got.code != command.ExitRefused {
		t.Errorf("a restore over a record: exit code %d, %s", got.code, got.err)
	}
	requireIn(t, must(t, "verify", "--data", data), "sound: ")
}

func TestBackup_OfTwoStationsIsRefused(t *testing.T) {
	one, two := t.TempDir(), t.TempDir()
	serving(t, two)
	s := serving(t, one)
	got := do(t, "backup", "--to", filepath.Join(t.TempDir(), "backup"), "--data", two, "--server", s.address)
	if got.code != command.ExitRefused || !strings.Contains(got.err, "of two stations") {
		t.Errorf("the record of one and the key of another: exit code %d, %s", got.code, got.err)
	}
}

func TestMove_TheOldOneStartsNoMore(t *testing.T) {
	data, folder := t.TempDir(), t.TempDir()
	requireIn(t, must(t, "move"), "Never start the old one again", "server restore")
	s, _ := photographedStation(t, data)
	backup := filepath.Join(folder, "move")
	if got := do(t, "move", "--data", data, "--to", backup); got.code != command.ExitNotThere {
		t.Errorf("a station that runs is moved: exit code %d, %s", got.code, got.err)
	}
	before := must(t, "readiness", "--server", s.address)
	s.stop()
	requireIn(t, must(t, "move", "--data", data, "--to", backup), "marked as moved")
	got := do(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "")
	if got.code != command.ExitRefused || !strings.Contains(got.err, backup) {
		t.Errorf("the old one starts: exit code %d, %s", got.code, got.err)
	}
	requireIn(t, must(t, "verify", "--data", data), "sound: ") // reading it is no harm
	restored := filepath.Join(folder, "new")
	must(t, "restore", "--from", backup, "--data", restored)
	s = serving(t, restored)
	if after := must(t, "readiness", "--server", s.address); after != before {
		t.Errorf("before:\n%s\nafter:\n%s", before, after)
	}
}

// What is left out is a mistake of whoever typed, and is named.
func TestRecordCommands_SayWhichFlagIsMissing(t *testing.T) {
	for _, tc := range []struct {
		args []string
		says string
	}{
		{[]string{"backup"}, "--to"},
		{[]string{"restore"}, "--from"},
		{[]string{"restore", "--from", "somewhere"}, "--data"},
		{[]string{"move", "--data", "somewhere"}, "--to"},
	} {
		got := do(t, tc.args...)
		if got.code != command.ExitMisused {
			t.Errorf("%v: exit code %d, want %d", tc.args, got.code, command.ExitMisused)
		}
		requireIn(t, got.err, tc.says)
	}
}
