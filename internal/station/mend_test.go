package station_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"bayround/internal/journal"
	"bayround/internal/recordfile"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// account is what a station says of everything that matters here.
type account struct {
	events     []*pb.JournalEvent
	readiness  []*pb.Readiness
	people     []*pb.Person
	checkpoint string
}

func toldBy(t testing.TB, k *stationtest.Kit) (all account) {
	t.Helper()
	for _, vehicle := range []string{"vehicles/p1", "vehicles/p2"} {
		all.readiness = append(all.readiness, k.Readiness(vehicle))
	}
	people, err := k.ListPeople(ctx, &pb.ListPeopleRequest{})
	if err != nil {
		t.Fatal(err)
	}
	all.people = people.GetPeople()
	all.events = eventsOf(t, k)
	all.checkpoint = seenOf(t, k).checkpoint
	return all
}

func eventsOf(t testing.TB, k *stationtest.Kit) (events []*pb.JournalEvent) {
	t.Helper()
	err := k.Events(ctx, 1, func(ev *pb.JournalEvent) error {
		events = append(events, ev)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return events
}

// recordFile writes parts of a record into a file.
func recordFile(t testing.TB, parts []*pb.RecordPart) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "tablet.record")
	var b bytes.Buffer
	w, err := recordfile.NewWriter(&b, parts[0].GetHead())
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range parts[1:] {
		if seal := part.GetSeal(); seal != nil {
			err = w.Seal(seal.GetCheckpoint())
		} else {
			err = w.Command(part.GetCommand())
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func copyFrom(t testing.TB, k *stationtest.Kit, first int64) []*pb.RecordPart {
	t.Helper()
	parts, err := exported(k, first)
	if err != nil {
		t.Fatal(err)
	}
	return parts
}

// mend repairs the record of a station that is stopped.
func mend(t testing.TB, k *stationtest.Kit, files ...string) station.MendReport {
	t.Helper()
	report, err := station.Mend(ctx, station.MendOptions{Dir: k.Dir(), Files: files, Now: k.Clock.Now()})
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// wantTold makes sure that a station says what it said, and that the events after that
// are those.
func wantTold(t testing.TB, k *stationtest.Kit, before account, after ...proto.Message) {
	t.Helper()
	now := toldBy(t, k)
	if len(now.events) != len(before.events)+len(after) {
		t.Fatalf("%d events, want %d and %d more", len(now.events), len(before.events), len(after))
	}
	for i, want := range before.events {
		if d := diff(want, now.events[i]); d != "" {
			t.Fatalf("event %d (-was +is):\n%s", i+1, d)
		}
	}
	for i, want := range after {
		got := now.events[len(before.events)+i]
		is := proto.Message(got.GetRecordRefilled())
		if got.GetRecordLossAccepted() != nil {
			is = got.GetRecordLossAccepted()
		}
		if d := diff(want, is); d != "" {
			t.Errorf("event %d (-want +got):\n%s", got.GetSequence(), d)
		}
	}
	for i, want := range before.readiness {
		is := proto.CloneOf(now.readiness[i])
		is.AsOf, is.Sequence = want.AsOf, want.Sequence // it is later, and there are more events
		if d := diff(want, is); d != "" {
			t.Errorf("readiness (-was +is):\n%s", d)
		}
	}
	for i, want := range before.people {
		if d := diff(want, now.people[i]); d != "" {
			t.Errorf("person (-was +is):\n%s", d)
		}
	}
}

// namedPeople gives a station people whose names stand apart.
func namedPeople(t testing.TB, k *stationtest.Kit) {
	t.Helper()
	if err := applyPerson(k, "people/driver", "Bertrand Umberslade", pinOf("Key")); err != nil {
		t.Fatal(err)
	}
}

// A station that lost its end is behind; what a tablet offers brings everything back, and
// the record tells of it.
func TestMend_BringsBackWhatWasLostFromWhatATabletOffered(t *testing.T) {
	k := stationtest.Open(t)
	namedPeople(t, k)
	var before account
	var copied []*pb.RecordPart
	kept := len(eventsOf(t, k))
	k.Lose(func() {
		k.RecordAll("vehicles/p1", "routines/shift")
		before, copied = toldBy(t, k), copyFrom(t, k, 0)
	})
	if resp, err := offer(k, "tablet-7", copied); err != nil || !resp.GetEnough() {
		t.Fatalf("offered: %v, %v", resp, err)
	}
	k.Close()
	dry, err := station.Mend(ctx, station.MendOptions{Dir: k.Dir(), DryRun: true, Now: k.Clock.Now()})
	if err != nil || dry.Done || !dry.Enough || dry.Reached != uint64(len(before.events)) {
		t.Fatalf("dry: %+v, %v", dry, err)
	}
	report := mend(t, k)
	if !report.Done || report.Problem == "" || len(report.Missing) != 0 || len(report.Nameless) != 0 {
		t.Errorf("%+v", report)
	}
	refilled := &pb.RecordRefilled{
		FirstSequence: int64(kept + 1), LastSequence: int64(len(before.events)),
		Sources: []string{fmt.Sprintf("the copy of tablet-7: %d events, %d to %d", len(before.events)-kept, kept+1, len(before.events))},
	}
	for range 2 { // it is told once
		k.Reopen()
		if k.Behind() {
			t.Fatal("it is behind still")
		}
		wantTold(t, k, before, refilled)
		k.Close()
	}
	if report := mend(t, k); report.Problem != "" || report.Done || !report.Enough {
		t.Errorf("mended, and again: %+v", report)
	}
	if left, err := filepath.Glob(filepath.Join(k.Dir(), station.RefillFolder, "*")); err != nil || len(left) > 0 {
		t.Errorf("%v is left of the copies, %v", left, err)
	}
	k.Reopen()
	k.RecordAll("vehicles/p2", "routines/shift")
}

// Whatever byte of the store is wrong: with a copy everything is as it was, to the root.
func TestMend_OfAnyDamageWithACopy(t *testing.T) {
	k := stationtest.Open(t)
	namedPeople(t, k)
	k.RecordAll("vehicles/p1", "routines/shift")
	k.Close()
	k.Reopen() // so that there are several tables
	k.RecordAll("vehicles/p2", "routines/shift")
	before, file := toldBy(t, k), recordFile(t, copyFrom(t, k, 0))
	k.Close()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	for range 8 {
		dir := filepath.Join(t.TempDir(), "copy")
		if err := os.CopyFS(dir, os.DirFS(k.Dir())); err != nil {
			t.Fatal(err)
		}
		said := spoil(t, r, dir)
		report, err := station.Mend(ctx, station.MendOptions{Dir: dir, Files: []string{file}, Now: k.Clock.Now()})
		if err != nil {
			t.Fatalf("%s: %v", said, err)
		}
		again := stationtest.OpenWith(t, k.Clock, station.Options{Dir: dir, Now: k.Clock.Now, Defaults: stationtest.Small()})
		t.Logf("%s: %s, done %v, refilled %v", said, report.Problem, report.Done, report.Refilled)
		if report.Refilled == nil {
			wantTold(t, again, before)
			if seenOf(t, again).checkpoint != before.checkpoint {
				t.Errorf("%s: the head differs", said)
			}
		} else {
			wantTold(t, again, before, report.Refilled)
		}
		again.Close()
	}
}

// spoil flips a bit of a table, or removes a file of the store.
func spoil(t testing.TB, r *rand.Rand, dir string) string {
	t.Helper()
	var files []string
	for _, pattern := range []string{"*.sst", "MANIFEST"} {
		found, err := filepath.Glob(filepath.Join(dir, "badger", pattern))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, found...)
	}
	name := files[r.IntN(len(files))]
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if r.IntN(4) == 0 {
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
		return filepath.Base(name) + " removed"
	}
	at := r.IntN(len(content))
	content[at] ^= 1 << r.IntN(8)
	if err := os.WriteFile(name, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("byte %d of %s flipped", at, filepath.Base(name))
}

// behindKit is a station that lost the events of some rounds, with the copies that a device
// could have of each stretch, and what was told before.
func behindKit(t testing.TB) (k *stationtest.Kit, before account, stretches [][]*pb.RecordPart, kept uint64) {
	t.Helper()
	k = stationtest.Open(t)
	kept = uint64(len(eventsOf(t, k)))
	k.Lose(func() {
		from := int64(kept) + 1
		for _, vehicle := range []string{"vehicles/p1", "vehicles/p2", "vehicles/p1"} {
			round := k.RecordAll(vehicle, "routines/shift")
			if _, err := k.FinishRound(ctx, &pb.FinishRoundRequest{RequestId: k.ID(), Round: round}); err != nil {
				t.Fatal(err)
			}
			stretches = append(stretches, copyFrom(t, k, from))
			from = int64(len(eventsOf(t, k))) + 1
		}
		before = toldBy(t, k)
	})
	return k, before, stretches, kept
}

func TestMend_PutsStretchesOfSeveralCopiesTogether(t *testing.T) {
	k, before, stretches, kept := behindKit(t)
	k.Close()
	var files []string
	for n, parts := range stretches {
		if n == 1 {
			parts = parts[:len(parts)-1] // cut: proven by what the next goes on from
		}
		files = append(files, recordFile(t, parts))
	}
	slices.Reverse(files)
	foreign := stationtest.Open(t)
	files = append(files, recordFile(t, copyFrom(t, foreign, 0)), filepath.Join(t.TempDir(), "none.record"))
	report := mend(t, k, files...)
	if !report.Done || report.Refilled.GetFirstSequence() != int64(kept)+1 || report.Refilled.GetLastSequence() != int64(len(before.events)) || len(report.Refilled.GetSources()) != 3 {
		t.Errorf("%+v", report)
	}
	for n, source := range report.Sources {
		cut, useless := n == 2, n > 3
		if (cut || useless) != (source.Trouble != "") || useless != (source.Used == 0) {
			t.Errorf("source %d: %+v", n, source)
		}
	}
	k.Reopen()
	wantTold(t, k, before, report.Refilled)
}

func TestMend_SaysWhatIsMissingAndChangesNothing(t *testing.T) {
	k, before, stretches, kept := behindKit(t)
	k.Close()
	was := treeOf(t, k.Dir())
	second := stretches[1][0].GetHead().GetFirstSequence()
	third := stretches[2][0].GetHead().GetFirstSequence()
	report := mend(t, k, recordFile(t, stretches[0]), recordFile(t, stretches[2]))
	want := []journal.Stretch{{First: uint64(second), Last: uint64(third) - 1}}
	if report.Done || report.Enough || !slices.Equal(report.Missing, want) || report.Reached != uint64(second)-1 || report.Known != uint64(len(before.events)) {
		t.Errorf("%+v, want %v missing", report, want)
	}
	if at := before.events[second-2].GetStationTime().AsTime(); !report.Newest.Equal(at) {
		t.Errorf("the newest before is of %v, want %v", report.Newest, at)
	}
	if _, known := report.Devices["tablet-1"]; !known {
		t.Errorf("devices %v", report.Devices)
	}
	if now := treeOf(t, k.Dir()); now != was {
		t.Errorf("it was\n%s\nand is\n%s", was, now)
	}
	if report := mend(t, k); report.Reached != kept || len(report.Missing) != 1 {
		t.Errorf("without copies: %+v", report)
	}
}

// treeOf lists the files below a directory with their sizes.
func treeOf(t testing.TB, dir string) string {
	t.Helper()
	var all strings.Builder
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		info, err := entry.Info()
		if err == nil {
			fmt.Fprintln(&all, path, info.Size())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all.String()
}

// wantLosses makes sure which losses the state of the record tells.
func wantLosses(t testing.TB, k *stationtest.Kit, want ...*pb.RecordLossAccepted) {
	t.Helper()
	now, err := k.GetRecordState(ctx, &pb.GetRecordStateRequest{})
	if err != nil || len(now.GetState().GetLosses()) != len(want) {
		t.Fatalf("%v, %v", now, err)
	}
	for i, loss := range now.GetState().GetLosses() {
		if d := diff(want[i], loss); d != "" {
			t.Errorf("loss %d (-want +got):\n%s", i+1, d)
		}
	}
}

func TestMend_APersonAcceptsTheLoss(t *testing.T) {
	k, before, stretches, _ := behindKit(t)
	k.Close()
	o := station.MendOptions{Dir: k.Dir(), Files: []string{recordFile(t, stretches[0])}, Now: k.Clock.Now(), Loss: &station.Loss{Person: "people/driver", Reason: "the tablet burnt"}}
	for reason, loss := range map[string]station.Loss{
		"PERSON_UNKNOWN": {Person: "people/nobody", Reason: "the tablet burnt"},
		"REASON_MISSING": {Person: "people/driver"},
	} {
		wrong := o
		wrong.Loss = &loss
		if _, err := station.Mend(ctx, wrong); reasonTold(err) != reason {
			t.Errorf("%+v: %v", loss, err)
		}
	}
	report, err := station.Mend(ctx, o)
	if err != nil || !report.Done || report.Enough {
		t.Fatalf("%+v, %v", report, err)
	}
	k.Reopen()
	events := eventsOf(t, k)
	loss := events[len(events)-1]
	want := &pb.RecordLossAccepted{KnownCheckpoint: before.checkpoint, KeptEvents: int64(report.Reached), Reason: "the tablet burnt"}
	if d := diff(want, loss.GetRecordLossAccepted()); d != "" || loss.GetPerson() != "people/driver" || len(events) != int(report.Reached)+1 {
		t.Errorf("%d events, the last %v\n%s", len(events), loss, d)
	}
	if k.Behind() {
		t.Error("it is behind still")
	}
	wantLosses(t, k, want)
	// Whoever saw what is lost is told so, not of a fork.
	for _, grown := range []bool{false, true} {
		proof, err := k.ProveConsistency(ctx, &pb.ProveConsistencyRequest{KnownCheckpoint: before.checkpoint})
		if err != nil || proof.GetProvenEvents() != int64(report.Reached) || proof.GetLoss().GetReason() != "the tablet burnt" {
			t.Errorf("grown %v: %v, %v", grown, proof, err)
		}
		for range 3 {
			k.RecordAll("vehicles/p2", "routines/shift")
		}
	}
	k.Close()
	k.Reopen()
	if k.Behind() {
		t.Error("after another start it is behind")
	}
	wantLosses(t, k, want)
}

// What was erased stays erased, whatever copies still hold it.
func TestMend_BringsNoErasedNameBack(t *testing.T) {
	k := stationtest.Open(t)
	namedPeople(t, k)
	var before account
	var named, copied []*pb.RecordPart
	k.Lose(func() {
		named = copyFrom(t, k, 0)
		k.Clock.Advance(time.Minute)
		if _, err := erasePerson(k, "people/driver", "people/mechanic"); err != nil {
			t.Fatal(err)
		}
		before, copied = toldBy(t, k), copyFrom(t, k, 0)
	})
	k.Close()
	const name = "Bertrand Umberslade"
	if holds, err := os.ReadFile(recordFile(t, named)); err != nil || !bytes.Contains(holds, []byte(name)) {
		t.Fatalf("the older copy does not hold the name: this test would see nothing (%v)", err)
	}
	report := mend(t, k, recordFile(t, named), recordFile(t, copied))
	if !report.Done || len(report.Nameless) != 0 {
		t.Fatalf("%+v", report)
	}
	k.Reopen()
	wantTold(t, k, before, report.Refilled)
	k.Close()
	err := filepath.WalkDir(filepath.Join(k.Dir(), "badger"), func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		if bytes.Contains(content, []byte(name)) {
			t.Errorf("%s holds the erased name", path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestMend_ASoundRecordStaysAsItIs(t *testing.T) {
	k := stationtest.Open(t)
	older := recordFile(t, copyFrom(t, k, 0))
	k.RecordAll("vehicles/p1", "routines/shift")
	before := toldBy(t, k)
	if _, err := station.Mend(ctx, station.MendOptions{Dir: k.Dir(), Now: k.Clock.Now()}); reasonTold(err) != "JOURNAL_LOCKED" {
		t.Errorf("of a station that runs: %v", err)
	}
	k.Close()
	was := treeOf(t, k.Dir())
	for _, files := range [][]string{nil, {older}} {
		if report := mend(t, k, files...); report.Problem != "" || report.Done || !report.Enough || report.Known > uint64(len(before.events)) {
			t.Errorf("%+v", report)
		}
	}
	if now := treeOf(t, k.Dir()); now != was {
		t.Errorf("it was\n%s\nand is\n%s", was, now)
	}
	k.Reopen()
	wantTold(t, k, before)
}

// A station that was restored from an older backup is brought up to date by a copy that
// knows more.
func TestMend_OfAnOlderBackup(t *testing.T) {
	k := stationtest.Open(t)
	namedPeople(t, k)
	older := recordFile(t, copyFrom(t, k, 0))
	signer, err := os.ReadFile(filepath.Join(k.Dir(), "signer.key"))
	if err != nil {
		t.Fatal(err)
	}
	k.RecordAll("vehicles/p1", "routines/shift")
	before, newer := toldBy(t, k), recordFile(t, copyFrom(t, k, 0))
	dir := filepath.Join(t.TempDir(), "restored")
	if _, err := station.Restore(ctx, station.RestoreOptions{Dir: dir, File: older, Signer: signer}); err != nil {
		t.Fatal(err)
	}
	report, err := station.Mend(ctx, station.MendOptions{Dir: dir, Files: []string{newer}, Now: k.Clock.Now()})
	if err != nil || !report.Done {
		t.Fatalf("%+v, %v", report, err)
	}
	again := stationtest.OpenWith(t, k.Clock, station.Options{Dir: dir, Now: k.Clock.Now, Defaults: stationtest.Small()})
	wantTold(t, again, before, report.Refilled)
}
