package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bayround/internal/command"
	"bayround/internal/verdict"
)

func TestServe_SaysWhereItIsAndStopsWhenAsked(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ready.json")
	data := t.TempDir()
	s := background(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "127.0.0.1:0", "--ready-file", file, "--log-format", "json")
	content, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var at ready
	if err := json.Unmarshal(content, &at); err != nil {
		t.Fatalf("the ready file holds %q: %v", content, err)
	}
	if at.Listen != s.address || at.PID != os.Getpid() || at.Data != data {
		t.Errorf("the ready file says %+v, the line %s", at, s.address)
	}
	resp, err := http.Get("http://" + at.Metrics + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	metrics, err := io.ReadAll(resp.Body)
	if err := resp.Body.Close(); err != nil {
		t.Error(err)
	}
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("metrics: %v, %v", resp.Status, err)
	}
	requireIn(t, string(metrics), "bayround_journal_events ", "process_resident_memory_bytes", "go_goroutines")
	last := s.stop()
	if last.code != command.ExitDone {
		t.Errorf("stopped with exit code %d", last.code)
	}
	for _, line := range strings.Split(strings.TrimSpace(last.err), "\n") {
		if !json.Valid([]byte(line)) {
			t.Errorf("the log has a line that is no JSON: %s", line)
		}
	}
	if got := do(t, "readiness", "--server", s.address); got.code != command.ExitNotThere {
		t.Errorf("after the stop: exit code %d", got.code)
	}
}

func TestServe_OneFolderBelongsToOneStation(t *testing.T) {
	data := t.TempDir()
	serving(t, data)
	got := do(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "")
	if got.code == command.ExitDone || got.err == "" {
		t.Errorf("a second station on the same folder: exit code %d, %q", got.code, got.err)
	}
	if got := do(t, "verify", "--data", data); got.code == command.ExitDone {
		t.Error("a record that is in use was verified")
	}
}

func TestServe_KeepsEverythingOverARestart(t *testing.T) {
	data := t.TempDir()
	s := serving(t, data)
	must(t, "apply", county(t), "--server", s.address)
	must(t, "play", round(t, "09-t1-before-tow.yaml"), "--server", s.address)
	before := must(t, "readiness", "t1", "--server", s.address)
	s.stop()
	requireIn(t, must(t, "verify", "--data", data), "sound: ", " events")
	requireIn(t, must(t, "rebuild", "--data", data), "made anew from ")
	s = serving(t, data)
	if after := must(t, "readiness", "t1", "--server", s.address); after != before {
		t.Errorf("before:\n%s\nafter:\n%s", before, after)
	}
}

func TestServe_RulesFolderTakesTheirPlaceOrIsRefusedInWords(t *testing.T) {
	folder, data := t.TempDir(), t.TempDir()
	writeFile(t, filepath.Join(folder, "own", "people.yaml"), "people:\n  - {name: people/own, title: Our Own, roles: [ROLE_DRIVER]}\n")
	writeFile(t, filepath.Join(folder, "notes.txt"), "not read")
	s := serving(t, data, "--rules", folder)
	requireIn(t, must(t, "apply", folder, "--check", "--server", s.address), "nothing changes") // it is in force
	s.stop()

	bad := filepath.Join(folder, "own", "more.yaml")
	writeFile(t, bad, "people:\n  - {name: people/more, title: More, roles: [ROLE_DANCER]}\n")
	s = serving(t, data, "--rules", folder)
	requireIn(t, must(t, "apply", filepath.Join(folder, "own", "people.yaml"), "--check", "--server", s.address), "nothing changes")
	requireIn(t, s.stop().err, "own/more.yaml:2:", "what was in force before stays in force")

	got := do(t, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--metrics", "", "--rules", folder)
	if got.code != command.ExitRefused {
		t.Errorf("bad rules and nothing in force: exit code %d", got.code)
	}
	requireIn(t, got.err, "own/more.yaml:2:", "nothing is in force yet")
	if got := do(t, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--metrics", "", "--rules", filepath.Join(folder, "none")); got.code == command.ExitDone {
		t.Error("a rules folder that is not there")
	}
}

func TestStartingFiles_AFileOfTheSameNameTakesItsPlace(t *testing.T) {
	folder := t.TempDir()
	own, err := startingFiles("")
	if err != nil || len(own) == 0 {
		t.Fatalf("%d files come with the program, %v", len(own), err)
	}
	changed := append(bytes.Clone(own[0].Content), "\n# ours\n"...)
	writeFile(t, filepath.Join(folder, filepath.FromSlash(own[0].Name)), string(changed))
	files, err := startingFiles(folder)
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(own) || !bytes.Equal(files[0].Content, changed) {
		t.Errorf("%d files, want %d with the first one replaced", len(files), len(own))
	}
}

func TestVerify_ADamagedRecordIsExitCode5(t *testing.T) {
	data := t.TempDir()
	serving(t, data).stop()
	damage(t, data)
	got := do(t, "verify", "--data", data)
	if got.code != command.ExitDamaged || strings.Contains(got.out, "sound") {
		t.Errorf("a damaged record: exit code %d\n%s%s", got.code, got.out, got.err)
	}
	if got := do(t, "rebuild", "--data", data); got.code != command.ExitDamaged {
		t.Errorf("rebuilding a damaged record: exit code %d\n%s", got.code, got.err)
	}
}

// damage flips one bit in the middle of the largest file of a record, where the events are.
func damage(t *testing.T, data string) {
	t.Helper()
	largest, size := "", int64(0)
	err := filepath.WalkDir(data, func(name string, entry os.DirEntry, err error) error {
		if err != nil || !entry.Type().IsRegular() {
			return err
		}
		if info, err := entry.Info(); err == nil && filepath.Ext(name) == ".sst" && info.Size() > size {
			largest, size = name, info.Size()
		}
		return nil
	})
	if err != nil || largest == "" {
		t.Fatalf("no table in %s: %v", data, err)
	}
	content, err := os.ReadFile(largest)
	if err != nil {
		t.Fatal(err)
	}
	content[len(content)/2] ^= 1
	if err := os.WriteFile(largest, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestMark_FiveShapesAndNoTwoAlike(t *testing.T) {
	shapes := map[string]bool{}
	for v := 1; v <= 5; v++ {
		m := markOf(verdictNumber(v))
		if len(m.shape) != 3 || shapes[m.shape] {
			t.Errorf("verdict %d is shown as %q", v, m.shape)
		}
		shapes[m.shape] = true
		if m.paint("x", false) != "x" || !strings.Contains(string(m.paint("x", true)), "x") || m.paint("x", true) == "x" {
			t.Errorf("verdict %d is painted %q", v, m.paint("x", true))
		}
	}
}

// The past is lived by the program as it is shipped: it takes four times as long under
// the race detector, which watches the same past in the tests of internal/county. The
// quick start runs within this process.
func TestDemo_ShowsAllFiveVerdicts(t *testing.T) {
	printed, code := outside(t.Context(), t, binary(t), "demo", "--once", "--files", county(t), "--listen", "127.0.0.1:0", "--metrics", "")
	if code != command.ExitDone {
		t.Fatalf("the demonstration ended with %d\n%s", code, printed)
	}
	requireIn(t, printed, "456 days before today")
	_, table, _ := strings.Cut(printed, "Which vehicles may respond, right now?")
	requireIn(t, table, "[^]  WN11", "/!\\  WN12", "(>)  WN13", "(-)  WN21", "[^]  WN22", ": ?  WN31", "/!\\  WN32", "[^]  T1")
	for v := 1; v <= 5; v++ {
		requireIn(t, table, markOf(verdictNumber(v)).shape, verdict.OneLine(verdict.Words(verdictNumber(v))))
	}
	quick := must(t, "demo", "--once", "--history=false", "--files", county(t), "--listen", "127.0.0.1:0", "--metrics", "")
	if _, now, _ := strings.Cut(quick, "Which vehicles may respond, right now?"); strings.Contains(quick, "days before today") || now == "" {
		t.Errorf("without the past the demonstration shows:\n%s", quick)
	}
	kept := t.TempDir()
	writeFile(t, filepath.Join(kept, "something"), "precious")
	if got := do(t, "demo", "--once", "--data", kept, "--files", county(t)); got.code != command.ExitMisused {
		t.Errorf("a folder that is not empty: exit code %d", got.code)
	}
}
