package main

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/access"
	"bayround/internal/command"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// dataOf is where the record of each station of these tests lies, by its address.
var dataOf sync.Map

func identityAt(t testing.TB, station string) string {
	t.Helper()
	data, known := dataOf.Load(station)
	if !known {
		t.Fatalf("no test has started a station at %s", station)
	}
	return filepath.Join(data.(string), "trust", "administrator")
}

// serverProgram is a command of the server's program; a station is asked as whoever runs it.
func serverProgram(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	if i := slices.Index(args, "--server"); i >= 0 {
		args = append(slices.Clone(args), "--identity", identityAt(t, args[i+1]))
	}
	return exec.Command(program(t, "server"), args...) //nolint:gosec // our own program
}

// dialStation reaches a station as whoever runs it.
func dialStation(t testing.TB, station string) *grpc.ClientConn {
	t.Helper()
	conn, err := rpc.DialSecure(station, trust.OpenWallet(trust.FilesIn(identityAt(t, station)), time.Now))
	if err != nil {
		t.Fatal(err)
	}
	return conn
}

var enrolSays = regexp.MustCompile(`(?s)--station-sha256 ([0-9a-f]{64})\n.*works once:\n\n  (\S+)\n`)

// enrolTablet does what a person does at a new tablet, with both programs.
func enrolTablet(t testing.TB, station, data, device string) {
	t.Helper()
	pin, code := openEnrolment(t, station, device)
	enrol := exec.Command(program(t, "kiosk"), "enrol", "--station", station, "--station-sha256", pin, "--device", device, "--data", data) //nolint:gosec // our own program
	enrol.Stdin = strings.NewReader(code + "\n")
	if said, err := enrol.CombinedOutput(); err != nil {
		t.Fatalf("enrolling %s: %v\n%s", device, err, said)
	}
}

func openEnrolment(t testing.TB, station, device string) (pin, code string) {
	t.Helper()
	said, err := serverProgram(t, "enrol", device, "--server", station).Output()
	found := enrolSays.FindStringSubmatch(string(said))
	if err != nil || found == nil {
		t.Fatalf("server enrol: %v\n%s", err, said)
	}
	return found[1], found[2]
}

// A tablet that is revoked, and one whose certificate has ended, works on and keeps
// what is recorded; enrolled again it sends it, once.
func TestTrust_ARevokedTabletKeepsItsOutbox(t *testing.T) {
	s := startStation(t)
	data := t.TempDir()
	enrolTablet(t, s.address, data, "tablet-1")
	k, err := start(t.Context(), tabletFlags(s.address, data, "tablet-1"), slog.New(slog.DiscardHandler), clocks{time.Now, true})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := k.stop(); err != nil {
			t.Error(err)
		}
	}()
	awaitLink(t, k, func() bool { return len(k.desk.View().Vehicles) == 10 && k.uplink.Link().Live })
	if said, err := serverProgram(t, "revoke", "tablet-1", "--reason", "left in the yard", "--server", s.address).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	awaitLink(t, k, func() bool { return strings.Contains(k.uplink.Link().Barred, "left in the yard") })
	openARound(t, k.twin, "tablet-1")
	awaitLink(t, k, func() bool { return k.uplink.Link().Pending == 1 })
	if l := k.uplink.Link(); len(l.Refused) != 0 {
		t.Errorf("revoked: %+v", l)
	}
	if n := len(s.readiness("vehicles/t1").GetRounds()); n != 0 {
		t.Errorf("the station has %d rounds of a tablet that it does not let in", n)
	}
	enrolTablet(t, s.address, data, "tablet-1") // while the kiosk serves
	awaitLink(t, k, func() bool { l := k.uplink.Link(); return l.Live && l.Pending == 0 && l.Barred == "" })
	if n := len(s.readiness("vehicles/t1").GetRounds()); n != 1 {
		t.Errorf("the station has %d rounds of the tablet that was enrolled again", n)
	}
}

// What a person gets wrong at a new tablet is said in words, and a kiosk that was
// never enrolled starts all the same.
func TestTrust_EnrolSaysWhatIsWrong(t *testing.T) {
	s := startStation(t)
	pin, code := openEnrolment(t, s.address, "tablet-1")
	other := strings.Repeat("0", 64)
	for _, tc := range []struct {
		why, pin, code string
		exit           int
		says           string
	}{
		{"a number that is none", "12", code, command.ExitMisused, "64 hexadecimal digits"},
		{"a code that is none", pin, "1234", command.ExitRefused, "16 letters and digits"},
		{"another station's number", other, code, command.ExitRefused, "not the station that server enrol was run at"},
		{"another code", pin, "0000-0000-0000-0000", command.ExitRefused, "4 tries are left"},
		{"the code as it is often typed", strings.ToUpper(pin), strings.ToLower(strings.ReplaceAll(code, "-", " ")), command.ExitDone, "is enrolled"},
		{"a code that was used", pin, code, command.ExitRefused, "was used"},
	} {
		var out, complaints strings.Builder
		exit := run(t.Context(), []string{"enrol", "--station", s.address, "--station-sha256", tc.pin, "--data", t.TempDir()}, strings.NewReader(tc.code+"\n"), &out, &complaints)
		if exit != tc.exit || !strings.Contains(out.String()+complaints.String(), tc.says) {
			t.Errorf("%s: exit code %d, %s%s", tc.why, exit, out.String(), complaints.String())
		}
	}
	k, err := start(t.Context(), tabletFlags(s.address, t.TempDir(), "tablet-2"), slog.New(slog.DiscardHandler), clocks{time.Now, true})
	if err != nil {
		t.Fatalf("a kiosk that was never enrolled: %v", err)
	}
	awaitLink(t, k, func() bool { return strings.Contains(k.uplink.Link().Barred, "enrol first") })
	if err := k.stop(); err != nil {
		t.Error(err)
	}
}

func TestTrust_AFolderKeepsItsTabletsName(t *testing.T) {
	s := startStation(t)
	data := t.TempDir()
	enrolTablet(t, s.address, data, "tablet-1")
	_, err := start(t.Context(), tabletFlags(s.address, data, "tablet-2"), slog.New(slog.DiscardHandler), clocks{time.Now, true})
	if err == nil || !strings.Contains(err.Error(), `was enrolled as "tablet-1"`) {
		t.Errorf("%v", err)
	}
	b, err := os.ReadFile(filepath.Join(data, "trust", "cert.pem"))
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(b)
	c, err := x509.ParseCertificate(block.Bytes)
	if err != nil || len(c.URIs) != 1 || !strings.HasPrefix(c.URIs[0].String(), "bayround://tablet/tablet-1/") {
		t.Errorf("%v, %v", c.URIs, err)
	}
}

// What others could open is closed to them at the start, and it is said.
func TestTrust_ATabletClosesWhatItKeepsToOthers(t *testing.T) {
	s := startStation(t)
	data := t.TempDir()
	enrolTablet(t, s.address, data, "tablet-1")
	starts := func() string {
		t.Helper()
		var said bytes.Buffer
		k, err := start(t.Context(), tabletFlags(s.address, data, "tablet-1"), slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{Level: slog.LevelWarn})), clocks{time.Now, true})
		if err := errors.Join(err, k.stop()); err != nil {
			t.Fatal(err)
		}
		return said.String()
	}
	if said := starts(); strings.Contains(said, "could open") {
		t.Errorf("of what the tablet itself made: %s", said)
	}
	if err := os.MkdirAll(filepath.Join(data, "copy"), 0o700); err != nil { // made once there is something to copy
		t.Fatal(err)
	}
	open := map[string]os.FileMode{"trust/key.pem": 0o640, "record": 0o755, "copy": 0o711, "photos": 0o750, "session.json": 0o604}
	for name, mode := range open {
		if err := os.Chmod(filepath.Join(data, name), mode); err != nil {
			t.Fatal(err)
		}
	}
	said := starts()
	for name, mode := range open {
		if info, err := os.Stat(filepath.Join(data, name)); err != nil || info.Mode().Perm() != mode&0o700 {
			t.Errorf("%s: %v, %v", name, info.Mode(), err)
		}
		if !strings.Contains(said, filepath.Join(data, name)) {
			t.Errorf("it is not said of %s: %s", name, said)
		}
	}
	if !strings.Contains(said, "could open its keys") || !strings.Contains(said, "could open its record") {
		t.Errorf("it is not said: %s", said)
	}
}

// openARound opens a round at a tablet's own station.
func openARound(t *testing.T, twin *station.Station, device string) {
	t.Helper()
	if _, err := twin.OpenRound(t.Context(), &pb.OpenRoundRequest{
		Round: "rounds/7a1c2a52-3a37-4d0e-9c7e-3b1f0a9d2c11", Vehicle: "vehicles/t1", Routine: "routines/before-tow", Driver: "people/venholt",
		Device: device, Conditions: &pb.RoundConditions{},
	}); err != nil {
		t.Fatal(err)
	}
}

// awaitLink waits until the tablet has come so far.
func awaitLink(t *testing.T, k *running, come func() bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	for {
		changed, viewed := k.uplink.Changed(), k.desk.Changed()
		if come() {
			return
		}
		select {
		case <-changed:
		case <-viewed:
		case <-ctx.Done():
			t.Fatalf("it did not come so far: %+v", k.uplink.Link())
		}
	}
}

// Whoever was locked out is named, and let in again while the tablet's file stays.
func TestUnlock_NamesAndFreesWhoIsLockedOut(t *testing.T) {
	data := t.TempDir()
	now := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	guard, err := access.OpenGuard(filepath.Join(data, attemptsFile), func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	for range 10 {
		if guard.Check(t.Context(), access.Attempt{Person: "people/arkwith", Device: "tablet-1", PIN: "1111"}) == nil {
			t.Fatal("a wrong PIN was taken")
		}
		now = now.Add(5 * time.Minute)
	}
	for _, tc := range []struct {
		args []string
		exit int
		says string
	}{
		{nil, command.ExitDone, "people/arkwith\n"},
		{[]string{"venholt"}, command.ExitMisused, "people/venholt is not locked out"},
		{[]string{"arkwith"}, command.ExitDone, "people/arkwith may sign in again"},
		{nil, command.ExitDone, ""},
	} {
		var out, complaints strings.Builder
		exit := run(t.Context(), append([]string{"unlock", "--data", data}, tc.args...), strings.NewReader(""), &out, &complaints)
		if said := out.String() + complaints.String(); exit != tc.exit || !strings.Contains(said, tc.says) || tc.says == "" && said != "" {
			t.Errorf("unlock %v: exit code %d, %s", tc.args, exit, said)
		}
	}
}
