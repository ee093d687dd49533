package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bayround/internal/command"
	"bayround/internal/journal"
	"bayround/internal/station"
	pb "bayround/proto/bayround/v1"
)

// format is something that lies on disk with a version of its own.
type format struct {
	name     string // as in the table of DEVELOPERS.md
	version  uint64 // that this program reads
	folder   string // of the fixture
	file     string // in it; every file that fits
	raise    func(t *testing.T, file string, to uint64)
	commands []string // of the server; "" is kiosk serve
}

var offline = []string{"serve --data DIR --listen 127.0.0.1:0 --metrics=", "verify --data DIR", "rebuild --data DIR", "export --data DIR OUT", "repair --data DIR"}

// formats are all that DEVELOPERS.md names with a version that is refused.
func formats() []format {
	return []format{
		{"`JOURNAL`", 1, "station", "JOURNAL", raiseText("bayround journal "), offline},
		{"`replacing`", 1, "station", "replacing", raiseReplacing, offline},
		{"`badger/MANIFEST`", 8, "station", "badger/MANIFEST", raiseByte(7), offline[:4]}, // a repair takes it for damage
		{"event record", 7, "station", "JOURNAL", raiseEvent, []string{offline[0], offline[2]}},
		{"record file", 1, "copies", "backup/record", raiseRecord, []string{"verify-export FILE"}},
		{"record file", 1, "tablet", "copy/*.record", raiseRecord, []string{""}},
		{"proof of a round", 1, "copies", "round.proof", raiseProof, []string{"verify-record FILE"}},
		{"backup `MANIFEST`", 1, "copies", "backup/MANIFEST", raiseText(`"bayround_backup": `), []string{"backup verify DIR/backup", "restore --from DIR/backup --data OUT"}},
		{"`uplink.json`", 1, "tablet", "uplink.json", raiseJSON, []string{""}},
		{"`witness.json`", 1, "tablet", "witness.json", raiseJSON, []string{""}},
		{"`session.json`", 1, "tablet", "session.json", raiseJSON, []string{""}},
		{"`clock.json`", 1, "tablet", "clock.json", raiseJSON, []string{""}},
		{"`register.json`", 2, "station", "trust/register.json", raiseRegister, offline[:1]},
		{"`subscriptions/NAME.json`", 1, "station", "subscriptions/control.json", raiseSubscription, []string{"subscriptions --data DIR"}},
		{"`subscriptions/NAME.aside/ID.json`", 1, "station", "subscriptions/control.aside/7.json", raiseSubscription, []string{"subscriptions --data DIR"}},
		{"`attempts`", 1, "tablet", "attempts", raiseJSON, []string{""}},
	}
}

// What a newer program wrote is refused, whoever comes across it: the message says which
// file, which version and what to do, and nothing is changed.
func TestNewer_EveryFormatIsRefusedAndNothingChanged(t *testing.T) {
	n := allFixtures(t)[0]
	for _, f := range formats() {
		t.Run(strings.Trim(f.name, "`")+" of the "+f.folder, func(t *testing.T) {
			dir := n.unpack(t, f.folder)
			files, err := filepath.Glob(filepath.Join(dir, f.file))
			if f.name == "`replacing`" || f.name == "`register.json`" || strings.HasPrefix(f.name, "`subscriptions/") || f.name == "proof of a round" {
				files = []string{filepath.Join(dir, f.file)} // there during a repair alone; made when a station is first served, tells somebody, or is asked for it
			}
			if err != nil || len(files) == 0 {
				t.Fatalf("no file %s in the fixture", f.file)
			}
			f.raise(t, files[0], f.version+1)
			for _, line := range f.commands {
				f.refused(t, dir, files[0], line)
			}
		})
	}
}

func (f format) refused(t *testing.T, dir, file, line string) {
	t.Helper()
	before := contentOf(t, dir)
	code, said := f.carryOut(t, dir, file, line)
	if code != command.ExitRefused {
		t.Errorf("%q: exit code %d, want %d\n%s", line, code, command.ExitRefused, said)
	}
	named := filepath.Base(file)
	if f.name == "event record" {
		named = "event 490 of the record" // the fixture's record has 489
	}
	for _, want := range []string{named, fmt.Sprintf("is of version %d", f.version+1), fmt.Sprintf("reads versions up to %d", f.version), "use the newer program"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q says %q; want %q in it", line, said, want)
		}
	}
	if after := contentOf(t, dir); !maps.Equal(before, after) {
		for _, name := range slices.Sorted(maps.Keys(merged(before, after))) {
			if before[name] != after[name] {
				t.Errorf("%q changed %s", line, name)
			}
		}
	}
}

func (f format) carryOut(t *testing.T, dir, file, line string) (code int, said string) {
	t.Helper()
	var complaints bytes.Buffer
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	if line == "" {
		args := []string{"serve", "--station", "127.0.0.1:1", "--data", dir, "--device", "tablet-1", "--listen", "127.0.0.1:0", "--bay", "127.0.0.1:0"}
		code = run(ctx, args, strings.NewReader(""), ender(cancel), &complaints)
		return code, complaints.String()
	}
	words := strings.Fields(strings.NewReplacer("DIR", dir, "FILE", file, "OUT", filepath.Join(t.TempDir(), "out")).Replace(line))
	program := exec.CommandContext(ctx, program(t, "server"), words...) //nolint:gosec // our own program
	program.Stdout, program.Stderr = ender(cancel), &complaints
	if err := program.Run(); program.ProcessState == nil {
		t.Fatal(err)
	}
	return program.ProcessState.ExitCode(), complaints.String()
}

// ender ends a program that says it is ready, which it should not.
type ender func()

// Write ends it.
func (e ender) Write(b []byte) (int, error) {
	e()
	return len(b), nil
}

// contentOf is what lies in a folder. What of a store is there while it is open is not its
// content: a tablet's record is compared by what it holds.
func contentOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	content := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		content[name] = fmt.Sprintf("%x", sha256.Sum256(b))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range []string{dir, filepath.Join(dir, "record")} {
		report, err := station.Verify(t.Context(), record, nil)
		if err != nil {
			continue // it is refused itself, or none
		}
		inside, _ := filepath.Rel(dir, filepath.Join(record, "badger"))
		maps.DeleteFunc(content, func(name, _ string) bool {
			return strings.HasPrefix(name, inside+string(filepath.Separator)) || filepath.Base(name) == "ballast"
		})
		content["the record in "+record] = fmt.Sprint(report)
	}
	return content
}

func merged(a, b map[string]string) map[string]string {
	all := maps.Clone(a)
	maps.Copy(all, b)
	return all
}

func rewrite(t *testing.T, file string, change func([]byte) []byte) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	changed := change(bytes.Clone(b))
	if bytes.Equal(b, changed) {
		t.Fatalf("%s was not changed", file)
	}
	if err := os.WriteFile(file, changed, 0o600); err != nil {
		t.Fatal(err)
	}
}

// raiseText puts another number behind some words.
func raiseText(before string) func(*testing.T, string, uint64) {
	return func(t *testing.T, file string, to uint64) {
		t.Helper()
		rewrite(t, file, func(b []byte) []byte {
			return regexp.MustCompile(regexp.QuoteMeta(before)+`\d+`).ReplaceAll(b, []byte(before+fmt.Sprint(to)))
		})
	}
}

func raiseByte(at int) func(*testing.T, string, uint64) {
	return func(t *testing.T, file string, to uint64) {
		t.Helper()
		rewrite(t, file, func(b []byte) []byte { b[at] = byte(to); return b })
	}
}

// raiseJSON puts a file in place whose version is another, and which has another form.
func raiseJSON(t *testing.T, file string, to uint64) {
	t.Helper()
	rewrite(t, file, func([]byte) []byte {
		return fmt.Appendf(nil, `{"version":%d,"journal":{},"acknowledged":"x","verifier_key":[],"phase":{},"lag":{},"people":[],"devices":7}`, to)
	})
}

// raiseRecord raises the number in the head of a record file: field 1 of a message.
func raiseRecord(t *testing.T, file string, to uint64) {
	t.Helper()
	rewrite(t, file, func(b []byte) []byte { return bytes.Replace(b, []byte{8, 1}, []byte{8, byte(to)}, 1) })
}

// raiseReplacing leaves what a repair by a newer program would leave that broke off.
func raiseReplacing(t *testing.T, file string, to uint64) {
	t.Helper()
	content := fmt.Sprintf(`{"evidence":"20270302T073000.000000000Z-repaired","identity":"bayround journal %d\nanything\n","head":""}`, to)
	if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
}

// raiseRegister leaves the register of a newer program.
func raiseRegister(t *testing.T, file string, to uint64) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, fmt.Appendf(nil, `{"version":%d,"clients":7}`, to), 0o600); err != nil {
		t.Fatal(err)
	}
}

// raiseSubscription leaves the place of a subscription of a newer program.
func raiseSubscription(t *testing.T, file string, to uint64) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, fmt.Appendf(nil, `{"version":%d,"name":"control"}`, to), 0o600); err != nil {
		t.Fatal(err)
	}
}

// raiseProof writes the proof of a round of which only the first line is as we know it.
func raiseProof(t *testing.T, file string, to uint64) {
	t.Helper()
	if err := os.WriteFile(file, fmt.Appendf(nil, "bayround round proof %d\nvehicle wn11\n", to), 0o600); err != nil {
		t.Fatal(err)
	}
}

// raiseEvent appends an event as a newer program would.
func raiseEvent(t *testing.T, file string, to uint64) {
	t.Helper()
	j, err := journal.Open(t.Context(), journal.Options{Dir: filepath.Dir(file)})
	if err != nil {
		t.Fatal(err)
	}
	event, err := proto.Marshal(&pb.JournalEvent{Sequence: int64(j.Size() + 1), CommandId: "newer", Schema: int32(to)})
	if err != nil {
		t.Fatal(err)
	}
	_, err = j.Append(t.Context(), journal.Command{ID: "newer"}, func(uint64) (journal.Entry, error) { return journal.Entry{Events: [][]byte{event}}, nil })
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

// The table of DEVELOPERS.md and this test know the same formats, in the same versions.
func TestNewer_DevelopersListTheseFormats(t *testing.T) {
	b, err := os.ReadFile("../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, found := strings.Cut(string(b), "\n## What lies on disk\n")
	section, _, _ = strings.Cut(section, "\n## ")
	if !found {
		t.Fatal("DEVELOPERS.md does not tell what lies on disk")
	}
	listed, tested := map[string]bool{}, map[string]bool{}
	for _, row := range regexp.MustCompile(`(?m)^\| (.+?) \| (\d+) \| .* \| refused \|$`).FindAllStringSubmatch(section, -1) {
		listed[row[1]+" "+row[2]] = true
	}
	for _, f := range formats() {
		tested[fmt.Sprintf("%s %d", f.name, f.version)] = true
	}
	if !maps.Equal(listed, tested) {
		t.Errorf("listed are %v, tested are %v", slices.Sorted(maps.Keys(listed)), slices.Sorted(maps.Keys(tested)))
	}
}
