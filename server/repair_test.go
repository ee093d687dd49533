package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bayround/internal/command"
	"bayround/internal/fault"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// grownStation is the folder of a stopped station that carried out rounds, as it was
// before the last of them in folder older, with an export of everything and what it said.
func grownStation(t *testing.T) (data, older, export, said string) {
	t.Helper()
	folder := t.TempDir()
	data, older, export = filepath.Join(folder, "data"), filepath.Join(folder, "older"), filepath.Join(folder, "tablet-2.record")
	s := serving(t, data)
	must(t, "apply", county(t), "--server", s.address)
	s.stop()
	if err := os.CopyFS(older, os.DirFS(filepath.Join(data, "badger"))); err != nil {
		t.Fatal(err)
	}
	s = serving(t, data)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address)
	must(t, "export", export, "--server", s.address)
	said = must(t, "readiness", "--server", s.address)
	s.stop()
	return data, older, export, said
}

// loseEnd sets the store back, as after damage that Badger does not notice.
func loseEnd(t *testing.T, data, older string) {
	t.Helper()
	store := filepath.Join(data, "badger")
	if err := errors.Join(os.RemoveAll(store), os.CopyFS(store, os.DirFS(older))); err != nil {
		t.Fatal(err)
	}
}

// spoilStore flips a byte in the largest table of a store.
func spoilStore(t *testing.T, data string) {
	t.Helper()
	tables, err := filepath.Glob(filepath.Join(data, "badger", "*.sst"))
	if err != nil || len(tables) == 0 {
		t.Fatalf("%v, %v", tables, err)
	}
	content, err := os.ReadFile(tables[0])
	if err != nil {
		t.Fatal(err)
	}
	content[len(content)/3] ^= 4
	writeFile(t, tables[0], string(content))
}

// wantSaid makes sure that a station says what was said before.
func wantSaid(t *testing.T, data, said string) {
	t.Helper()
	requireIn(t, must(t, "verify", "--data", data), "sound: ")
	s := serving(t, data)
	if now := must(t, "readiness", "--server", s.address); now != said {
		t.Errorf("it said\n%s\nand says\n%s", said, now)
	}
	if last := s.stop(); last.code != command.ExitDone {
		t.Errorf("exit code %d\n%s", last.code, last.err)
	}
}

func TestRepair_OfADamagedStoreFromAnExportOrABackup(t *testing.T) {
	data, _, export, said := grownStation(t)
	backup := filepath.Join(t.TempDir(), "backup")
	must(t, "backup", "--to", backup, "--data", data)
	requireIn(t, must(t, "repair", "--data", data), "nothing is wrong: ", "nothing was changed")
	for _, from := range []string{export, backup} {
		spoilStore(t, data)
		if got := do(t, "verify", "--data", data); got.code != command.ExitDamaged {
			t.Errorf("of the spoilt store verify ends with %d\n%s", got.code, got.err)
		}
		requireIn(t, must(t, "repair", "--data", data, "--from", from, "--dry-run"), "what is wrong: ", "it can be repaired", "nothing was changed")
		requireIn(t, must(t, "repair", "--data", data, "--from", from), "what is wrong: ", "the record's own store: events ", "repaired: ", "evidence")
		wantSaid(t, data, said)
	}
}

func TestRepair_SaysWhatIsMissingUntilAPersonAcceptsTheLoss(t *testing.T) {
	data, older, _, _ := grownStation(t)
	loseEnd(t, data, older)
	for _, args := range [][]string{{"--dry-run"}, nil} {
		got := do(t, append([]string{"repair", "--data", data}, args...)...)
		if got.code != command.ExitDamaged {
			t.Errorf("%v: exit code %d", args, got.code)
		}
		requireIn(t, got.out+got.err, "what is wrong: the record holds ", "missing: events ", "--accept-loss", "nothing was changed")
	}
	s := serving(t, data)
	requireIn(t, must(t, "readiness", "t1", "--server", s.address), "lost its newest")
	s.stop()
	for _, tc := range []struct {
		args []string
		code int
	}{
		{[]string{"--accept-loss"}, command.ExitMisused},
		{[]string{"--accept-loss", "--person", "nobody", "--reason", "the tablets burnt"}, command.ExitRefused},
		{[]string{"--from", filepath.Join(data, "nothing")}, command.ExitMisused},
	} {
		if got := do(t, append([]string{"repair", "--data", data}, tc.args...)...); got.code != tc.code {
			t.Errorf("%v: exit code %d, want %d\n%s", tc.args, got.code, tc.code, got.err)
		}
	}
	requireIn(t, must(t, "repair", "--data", data, "--accept-loss", "--person", "arkwith", "--reason", "the tablets burnt"), "the loss is accepted: ", "check it again")
	s = serving(t, data)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address)
	s.stop()
	requireIn(t, must(t, "verify", "--data", data), "sound: ")
}

// Where nothing proves itself any more nobody is told to go on from it.
func TestRepair_WithNothingLeftOffersNoLoss(t *testing.T) {
	data, _, _, _ := grownStation(t)
	logs, err := filepath.Glob(filepath.Join(data, "badger", "*.[ms][es][mt]"))
	if err != nil || len(logs) == 0 {
		t.Fatalf("the store's files: %v, %v", logs, err)
	}
	for _, name := range logs {
		if err := os.Truncate(name, 0); err != nil {
			t.Fatal(err)
		}
	}
	got := do(t, "repair", "--data", data)
	if got.code != command.ExitDamaged {
		t.Errorf("exit code %d, want %d\n%s", got.code, command.ExitDamaged, got.err)
	}
	requireIn(t, got.out, "nothing is left to go on from")
	if strings.Contains(got.out, "--accept-loss") {
		t.Errorf("a loss of everything is offered:\n%s", got.out)
	}
}

func TestRepair_OfWhatIsNone(t *testing.T) {
	data, _, _, _ := grownStation(t)
	for _, tc := range []struct {
		what, data string
		code       int
	}{
		{"nothing", filepath.Join(data, "nothing"), command.ExitMisused},
		{"something else", filepath.Join(data, "badger"), command.ExitRefused},
	} {
		if got := do(t, "repair", "--data", tc.data); got.code != tc.code {
			t.Errorf("%s: exit code %d, want %d\n%s", tc.what, got.code, tc.code, got.err)
		}
	}
	serving(t, data)
	if got := do(t, "repair", "--data", data); got.code != command.ExitNotThere {
		t.Errorf("a station that runs: exit code %d\n%s", got.code, got.err)
	}
}

func TestServe_RepairsItselfAtItsStart(t *testing.T) {
	for _, tc := range []struct {
		what  string
		spoil func(t *testing.T, data, older, export string)
	}{
		{"from what a tablet offered", func(t *testing.T, data, older, export string) {
			loseEnd(t, data, older)
			content, err := os.ReadFile(export)
			if err != nil {
				t.Fatal(err)
			}
			writeFile(t, filepath.Join(data, "refill", "tablet-2.record"), string(content))
		}},
		{"from the store alone", func(t *testing.T, data, _, _ string) {
			if err := os.Remove(filepath.Join(data, "badger", "MANIFEST")); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		t.Run(tc.what, func(t *testing.T) {
			data, older, export, said := grownStation(t)
			tc.spoil(t, data, older, export)
			s := serving(t, data)
			if now := must(t, "readiness", "--server", s.address); now != said {
				t.Errorf("it said\n%s\nand says\n%s", said, now)
			}
			requireIn(t, s.stop().err, "the record has repaired itself")
			wantSaid(t, data, said)
		})
	}
}

// A damaged record that nothing suffices to repair is not served, and stays as it is.
func TestServe_RefusesWhatItCannotRepair(t *testing.T) {
	data, _, export, said := grownStation(t)
	tables, err := filepath.Glob(filepath.Join(data, "badger", "*.sst"))
	if err != nil {
		t.Fatal(err)
	}
	for _, table := range tables {
		writeFile(t, table, "")
	}
	for range 2 {
		got := do(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "")
		if got.code != command.ExitDamaged {
			t.Errorf("exit code %d\n%s", got.code, got.err)
		}
		requireIn(t, got.err, "cannot repair itself", "repair it, or restore it")
	}
	requireIn(t, must(t, "repair", "--data", data, "--from", export), "repaired: ")
	wantSaid(t, data, said)
}

// While it runs, a station that is behind ends when a tablet has offered enough, so that
// it is started again; then it repairs itself.
func TestServe_EndsToBeRepairedWhenEnoughIsOffered(t *testing.T) {
	data, older, export, said := grownStation(t)
	loseEnd(t, data, older)
	p := launch(t, data)
	parts := partsOf(t, export)
	cut, err := offerParts(t, p.address, "tablet-1", parts[:len(parts)-2])
	if err != nil || cut.GetEnough() {
		t.Fatalf("a copy that is cut: %v, %v", cut, err)
	}
	whole, err := offerParts(t, p.address, "tablet-2", parts)
	if err != nil || !whole.GetEnough() {
		t.Fatalf("a whole copy: %v, %v", whole, err)
	}
	if code := p.exitCode(); code != command.ExitMendable {
		t.Errorf("it ended with %d, want %d\n%s", code, command.ExitMendable, p.log)
	}
	requireIn(t, p.log.String(), "repair is possible: start again")
	again := launch(t, data)
	if code := again.end(); code != command.ExitDone {
		t.Errorf("started again it ended with %d", code)
	}
	requireIn(t, again.log.String(), "the record has repaired itself")
	wantSaid(t, data, said)
}

func partsOf(t *testing.T, name string) (parts []*pb.RecordPart) {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := recordfile.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	parts = append(parts, &pb.RecordPart{Part: &pb.RecordPart_Head{Head: r.Head()}})
	for {
		cmd, err := r.Next()
		if errors.Is(err, io.EOF) {
			return append(parts, &pb.RecordPart{Part: &pb.RecordPart_Seal{Seal: r.Seal()}})
		}
		if err != nil {
			t.Fatal(err)
		}
		parts = append(parts, &pb.RecordPart{Part: &pb.RecordPart_Command{Command: cmd}})
	}
}

func offerParts(t *testing.T, address, device string, parts []*pb.RecordPart) (resp *pb.OfferRecordResponse, err error) {
	t.Helper()
	err = asking(address, func(s *remote) error {
		stream, err := pb.NewJournalServiceClient(s.conn).OfferRecord(context.Background())
		if err != nil {
			return err
		}
		for _, part := range parts {
			if err := stream.Send(&pb.OfferRecordRequest{Part: part, Device: device}); err != nil {
				return err
			}
		}
		resp, err = stream.CloseAndRecv()
		return err
	})
	return resp, err
}

func TestExitCodes_AreToldInTheHelp(t *testing.T) {
	help := must(t, "--help")
	for _, line := range []string{"  5  the record is damaged", "  6  the station stopped itself", "  7  the station can repair its record"} {
		requireIn(t, help, line)
	}
	if code := command.CodeOf(errMendable); code != command.ExitMendable {
		t.Errorf("code %d", code)
	}
	if slices.Contains([]bool{fault.Is(errMendable, fault.Lost), strings.Contains(errMendable.Error(), "damaged")}, true) {
		t.Error("it sounds like a record that a person must act on")
	}
}
