package main

import (
	"context"
	"errors"
	"net"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"bayround/internal/command"
)

// directives reads a unit: what stands under which heading, and how often.
func directives(t *testing.T, unit string) map[string]string {
	t.Helper()
	found, section := map[string]string{}, ""
	for line := range strings.Lines(unit) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		if strings.HasPrefix(line, "[") && strings.HasSuffix(line, "]") {
			section = line
			continue
		}
		key, value, ok := strings.Cut(line, "=")
		if _, twice := found[section+key]; !ok || section == "" || key != strings.TrimSpace(key) || twice {
			t.Errorf("%q stands alone, twice or under nothing", line)
		}
		found[section+key] = value
	}
	return found
}

func TestUnit_IsHardenedAndRestartsWhatMayBeRestarted(t *testing.T) {
	got := directives(t, must(t, "unit", "--program", "/usr/bin/server", "--name", "skarholm-quay", "--rules", "/etc/bayround/rules"))
	for key, want := range map[string]string{
		"[Service]Type":            "notify",
		"[Service]ExecStart":       "/usr/bin/server serve --data /var/lib/skarholm-quay --log-format json --rules /etc/bayround/rules",
		"[Service]User":            "bayround",
		"[Service]StateDirectory":  "skarholm-quay",
		"[Service]ProtectSystem":   "strict",
		"[Service]NoNewPrivileges": "yes",
		"[Service]MemoryMax":       "256M",
		"[Service]Restart":         "on-failure",
	} {
		if got[key] != want {
			t.Errorf("%s is %q, want %q", key, got[key], want)
		}
	}
	for _, key := range []string{"[Service]WatchdogSec", "[Service]RestartSec", "[Install]WantedBy"} {
		if got[key] == "" {
			t.Errorf("%s is not said", key)
		}
	}
	never := strings.Fields(got["[Service]RestartPreventExitStatus"])
	for code, again := range map[int]bool{command.ExitDamaged: false, command.ExitStopped: true, 7: true, command.ExitFailed: true} {
		if slices.Contains(never, strconv.Itoa(code)) == again {
			t.Errorf("exit code %d: started again %v, want %v", code, !again, again)
		}
	}
}

func TestUnit_RefusesWhatWouldMeanSomethingElse(t *testing.T) {
	for _, args := range [][]string{
		{"--user", "a b"},
		{"--name", "../etc"},
		{"--program", "server"},
		{"--program", "/a b"},
		{"--rules", "rules"},
		{"--rules", "/r\nUser=root"},
		{"--memory-max", ""},
		{"--name", "%n"},
	} {
		if got := do(t, append([]string{"unit", "--program", "/usr/bin/server"}, args...)...); got.code != command.ExitMisused || got.out != "" {
			t.Errorf("%q: exit code %d, %q", args, got.code, got.out)
		}
	}
}

// What systemd itself says of the unit.
func TestUnit_SystemdUnderstandsIt(t *testing.T) {
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Log("there is no systemd-analyze here; the tests above read the unit by its simple form")
		return
	}
	unit := filepath.Join(t.TempDir(), "bayround.service")
	text := must(t, "unit", "--program", binary(t))
	writeFile(t, unit, text)
	if out, code := outside(t.Context(), t, analyze, "verify", unit); code != 0 || strings.Contains(out, "bayround.service") {
		t.Errorf("systemd-analyze ends with %d:\n%s", code, out)
	}
	writeFile(t, unit, strings.Replace(text, "WatchdogSec=60", "WatchdogSec=soon", 1))
	if out, _ := outside(t.Context(), t, analyze, "verify", unit); !strings.Contains(out, "bayround.service") {
		t.Errorf("it says nothing of a mistake either:\n%s", out)
	}
}

// TestServe_TellsTheServiceManager listens where systemd would.
func TestServe_TellsTheServiceManager(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: socket, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close()
	hear := func() string {
		b := make([]byte, 1024)
		n, err := manager.Read(b)
		if err != nil {
			t.Fatal(err)
		}
		return string(b[:n])
	}
	t.Setenv("NOTIFY_SOCKET", socket)
	t.Setenv("WATCHDOG_USEC", "30000")
	s := serving(t, t.TempDir())
	if first := hear(); first != "READY=1" {
		t.Errorf("the first word is %q", first)
	}
	for range 3 {
		if word := hear(); word != "WATCHDOG=1" {
			t.Errorf("while it serves it says %q", word)
		}
	}
	ended := make(chan outcome, 1)
	go func() { ended <- s.stop() }()
	for word := hear(); word != "STOPPING=1"; word = hear() {
		if word != "WATCHDOG=1" {
			t.Errorf("before it stops it says %q", word)
		}
	}
	if last := <-ended; last.code != command.ExitDone {
		t.Errorf("it ends with %d\n%s", last.code, last.err)
	}
}

// A writing side that does not answer gives no sign of life.
func TestWatchdog_OnlyWhileTheStationAnswers(t *testing.T) {
	ticks, results, signs := make(chan time.Time), make(chan error, 1), 0
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		watchdog(ctx, ticks, func(context.Context) error { return <-results }, func() { signs++ })
	}()
	for _, err := range []error{nil, errors.New("stopped"), context.DeadlineExceeded, nil} {
		ticks <- time.Time{}
		results <- err
	}
	ticks <- time.Time{} // it has come round
	results <- nil
	cancel()
	<-ended
	if signs != 3 {
		t.Errorf("%d signs of life for 3 answers and 2 failures", signs)
	}
	if err := within(0, func(ctx context.Context) error { return ctx.Err() })(t.Context()); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a stuck station is waited for: %v", err)
	}
}
