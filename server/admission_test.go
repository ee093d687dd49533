package main

import (
	"crypto/x509"
	"encoding/pem"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bayround/internal/admit"
	"bayround/internal/command"
)

// One station with certificates, asked by the commands of this program: as whoever
// runs it, as a system that was let in, and as that system once it was revoked.
func TestAdmission_ByTheCommandLine(t *testing.T) {
	t.Setenv("BAYROUND_PLAINTEXT_ON_LOOPBACK", "")
	data, control := t.TempDir(), filepath.Join(t.TempDir(), "control")
	s := serving(t, data)
	t.Setenv("BAYROUND_IDENTITY", filepath.Join(data, trustFolder, "administrator"))
	must(t, "apply", county(t), "--server", s.address)
	requireIn(t, must(t, "admit", "control", "--role", "system", "-o", control, "--server", s.address), "may call the station as system")
	if got := do(t, "admit", "control", "--role", "system", "-o", control, "--server", s.address); got.code != command.ExitMisused {
		t.Errorf("into a folder that holds one: %d\n%s", got.code, got.err)
	}
	requireIn(t, must(t, "readiness", "t1", "--server", s.address, "--identity", control), "T1")
	one := []string{"--ca", filepath.Join(control, "ca.pem"), "--cert", filepath.Join(control, "cert.pem"), "--key-file", filepath.Join(control, "key.pem")}
	t.Setenv("BAYROUND_IDENTITY", "")
	requireIn(t, must(t, append([]string{"readiness", "t1", "--server", s.address}, one...)...), "T1")
	if got := do(t, append([]string{"readiness", "t1", "--server", s.address}, one[:4]...)...); got.code != command.ExitMisused {
		t.Errorf("without its key: %d\n%s", got.code, got.err)
	}
	for _, tc := range []struct {
		why      string
		identity string
		args     []string
		says     string
	}{
		{"a system applies nothing", control, []string{"apply", county(t)}, "may not call"},
		{"a system lets nobody in", control, []string{"enrol", "tablet-1"}, "may not call"},
		{"nobody has enrolled this one", t.TempDir(), []string{"readiness"}, "enrol first"},
	} {
		got := do(t, append(tc.args, "--server", s.address, "--identity", tc.identity)...)
		if got.code != command.ExitRefused || !strings.Contains(got.err, tc.says) {
			t.Errorf("%s: exit code %d\n%s", tc.why, got.code, got.err)
		}
	}
	if err := os.Chmod(filepath.Join(control, "key.pem"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, says := range []bool{true, false} {
		if got := do(t, "readiness", "t1", "--server", s.address, "--identity", control); got.code != command.ExitDone || strings.Contains(got.err, "could open "+filepath.Join(control, "key.pem")) != says {
			t.Errorf("its key was open: exit code %d, want a word of it: %v\n%s", got.code, says, got.err)
		}
	}
	t.Setenv("BAYROUND_IDENTITY", filepath.Join(data, trustFolder, "administrator"))
	rotateByTheCommandLine(t, s.address, control)
	must(t, "revoke", "control", "--reason", "no longer used", "--server", s.address)
	listed := must(t, "clients", "--server", s.address)
	requireIn(t, listed, "control", "system", "no longer used", "this-machine")
	sentByControl(t, s.address, listed)
	got := do(t, "readiness", "--server", s.address, "--identity", control)
	if got.code != command.ExitRefused || !strings.Contains(got.err, "no longer used") {
		t.Errorf("revoked: exit code %d\n%s", got.code, got.err)
	}
	if last := s.stop(); last.code != command.ExitDone {
		t.Errorf("the station ended with %d\n%s", last.code, last.err)
	}
	requireIn(t, must(t, "verify", "--data", data), "sound: ") // with what was recorded of all this
	s = serving(t, data)
	got = do(t, "readiness", "--server", s.address, "--identity", control)
	if got.code != command.ExitRefused {
		t.Errorf("revoked, after a restart: exit code %d\n%s", got.code, got.err)
	}
}

// sentByControl looks at what a program sent that has only ever renewed its certificate:
// one command, by another certificate than the one that the list names.
func sentByControl(t *testing.T, address, listed string) {
	t.Helper()
	told := strings.Fields(must(t, "clients", "control", "--server", address))
	if len(told) < 7 || !strings.HasSuffix(told[6], "…") || strings.Contains(listed, told[6]) || !slices.Contains(told, "1") {
		t.Errorf("control sent %q, and the list says\n%s", told, listed)
	}
	sender := strings.Fields(must(t, "clients", "this-machine", "--server", address))
	if n := strings.Count(strings.Join(sender, " "), "…"); n < 3 { // it was given another one with each step of the rotation
		t.Errorf("whoever runs the station sent by %d certificates: %q", n, sender)
	}
	for since, says := range map[string]string{"2999-01-01": "nothing in the record came from", "soon": "say a day"} {
		if got := do(t, "clients", "control", "--since", since, "--server", address); got.code != command.ExitMisused || !strings.Contains(got.err, says) {
			t.Errorf("since %s: exit code %d\n%s", since, got.code, got.err)
		}
	}
}

// rotateByTheCommandLine replaces the authority of a station at which one program was let
// in, and has that renewed.
func rotateByTheCommandLine(t *testing.T, address, control string) {
	t.Helper()
	requireIn(t, must(t, "ca", "--server", address), "no other authority takes its place", "\nends       "+day(authorityOf(t, control).NotAfter))
	requireIn(t, must(t, "ca", "rotate", "--overlap", "48h", "--server", address), "has served 48 hours more", "control  system")
	for _, tc := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"ca", "rotate"}, command.ExitRefused, "server ca retire ends it"},
		{[]string{"ca", "retire"}, command.ExitRefused, "not renewed yet: control"},
		{[]string{"ca", "rotate", "--overlap", "-1h"}, command.ExitMisused, "from 0 to 8760h"},
	} {
		if got := do(t, append(tc.args, "--server", address)...); got.code != tc.code || !strings.Contains(got.err, tc.says) {
			t.Errorf("%v: exit code %d\n%s", tc.args, got.code, got.err)
		}
	}
	requireIn(t, must(t, "renew", "--identity", control, "--server", address), "control is let in until")
	requireIn(t, must(t, "ca", "--server", address), "everybody who is let in was renewed")
	requireIn(t, must(t, "ca", "retire", "--server", address), "no other authority takes its place")
	requireIn(t, must(t, "readiness", "t1", "--server", address, "--identity", control), "T1")
}

// authorityOf is the certificate by which an identity knows the station.
func authorityOf(t *testing.T, identity string) *x509.Certificate {
	t.Helper()
	content, err := os.ReadFile(filepath.Join(identity, "ca.pem"))
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(content)
	c, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A station whose register was spoilt lets nobody in again: it does not start.
func TestServe_DoesNotStartWithoutItsRegister(t *testing.T) {
	t.Setenv("BAYROUND_PLAINTEXT_ON_LOOPBACK", "")
	data := t.TempDir()
	serving(t, data).stop()
	if err := os.Remove(filepath.Join(data, trustFolder, "register.json")); err != nil {
		t.Fatal(err)
	}
	got := do(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "")
	if got.code != command.ExitDamaged || !strings.Contains(got.err, "register.json") {
		t.Errorf("exit code %d\n%s", got.code, got.err)
	}
}

// Keys that others could open are closed to them at the start, and it is said which.
func TestServe_ClosesItsKeysToOthers(t *testing.T) {
	t.Setenv("BAYROUND_PLAINTEXT_ON_LOOPBACK", "")
	data := t.TempDir()
	if first := serving(t, data).stop(); strings.Contains(first.err, "could open") {
		t.Errorf("of what the station itself made: %s", first.err)
	}
	keys := []string{filepath.Join(data, trustFolder, "authority.key.pem"), filepath.Join(data, keyName)}
	for _, key := range keys {
		if err := os.Chmod(key, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	requireIn(t, serving(t, data).stop().err, "others on this machine could open", keys[0], keys[1], "server ca rotate")
	for _, key := range keys {
		if info, err := os.Stat(key); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v, %v", key, info.Mode(), err)
		}
	}
}

// What others could open of the record is closed to them; the folder of a record that was made
// just now is, too, and nothing is said of it.
func TestServe_ClosesItsRecordToOthers(t *testing.T) {
	data := t.TempDir()
	elsewhere := filepath.Join(t.TempDir(), photosFolder) // photos on a disk of their own
	if err := errors.Join(os.Chmod(data, 0o755), os.Mkdir(elsewhere, 0o700), os.Symlink(elsewhere, filepath.Join(data, photosFolder))); err != nil {
		t.Fatal(err)
	}
	closed := func() {
		t.Helper()
		for _, folder := range []string{data, elsewhere} {
			if info, err := os.Stat(folder); err != nil || info.Mode().Perm() != 0o700 {
				t.Errorf("%s: %v, %v", folder, info.Mode(), err)
			}
		}
	}
	if first := serving(t, data).stop(); strings.Contains(first.err, "could open") {
		t.Errorf("of what nobody could read: %s", first.err)
	}
	closed()
	if err := errors.Join(os.Chmod(data, 0o755), os.Chmod(elsewhere, 0o711)); err != nil {
		t.Fatal(err)
	}
	requireIn(t, serving(t, data).stop().err, "could open the record", data, filepath.Join(data, photosFolder), "PINs")
	closed()
	if second := serving(t, data).stop(); strings.Contains(second.err, "could open") {
		t.Errorf("of what is closed: %s", second.err)
	}
	if err := errors.Join(os.Remove(filepath.Join(data, photosFolder)), os.Symlink("/proc/self/fdinfo", filepath.Join(data, photosFolder))); err != nil {
		t.Fatal(err)
	}
	if got := do(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", ""); got.code != command.ExitRefused || !strings.Contains(got.err, "chmod go=") {
		t.Errorf("of what cannot be closed: exit code %d\n%s", got.code, got.err)
	}
}

// A folder that holds something else is refused, and keeps its mode.
func TestServe_LeavesAFolderThatIsNoRecordOpen(t *testing.T) {
	data := t.TempDir()
	writeFile(t, filepath.Join(data, "letter"), "to somebody")
	if err := os.Chmod(data, 0o755); err != nil {
		t.Fatal(err)
	}
	if got := do(t, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", ""); got.code == command.ExitDone {
		t.Error("it is taken for a record")
	}
	if info, err := os.Stat(data); err != nil || info.Mode().Perm() != 0o755 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
}

func TestRoles_PrintsItsTablesWhole(t *testing.T) {
	printed := must(t, "roles")
	if lines := strings.Count(printed, "\n"); lines != len(admit.Table())+1+1+len(admit.PersonTable())+1+1+len(admit.ProofTable())+1 {
		t.Errorf("%d lines for %d calls, %d deeds and %d proofs:\n%s", lines, len(admit.Table()), len(admit.PersonTable()), len(admit.ProofTable()), printed)
	}
	requireIn(t, printed, "VehicleService/Apply", "and anyone, without a certificate", "DUTY OFFICER", "RoundService/SignRound signature.person", "badge_and_pin")
}
