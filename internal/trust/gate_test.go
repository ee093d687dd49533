package trust

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

func TestJudge_EachWayOfNotBeingLetIn(t *testing.T) {
	r, other := open(t), open(t)
	tablet, stays := r.caller(r.enrol("tablet-1")), r.caller(r.enrol("tablet-2"))
	wantReason(t, r.Judge(r.Identify(nil)), fault.Unidentified, "CERTIFICATE_MISSING")
	wantReason(t, r.Judge(r.Identify([]*x509.Certificate{r.keys.Load().shows.cert})), fault.Unidentified, "CERTIFICATE_FOREIGN")
	wantReason(t, r.Judge(r.Identify([]*x509.Certificate{r.serving.Load().pair.Leaf})), fault.Unidentified, "CERTIFICATE_FOREIGN")
	held, err := other.enrol("tablet-1").Read()
	if err != nil {
		t.Fatal(err)
	}
	wantReason(t, r.Judge(r.Identify([]*x509.Certificate{held.pair.Leaf})), fault.Unidentified, "CERTIFICATE_FOREIGN")

	anew := r.caller(r.enrol("tablet-1"))
	wantReason(t, r.Judge(tablet), fault.Unidentified, "CERTIFICATE_SUPERSEDED")
	if err := r.Judge(anew); err != nil {
		t.Errorf("the newest enrolment: %v", err)
	}
	if _, err := r.Revoke(&pb.RevokeRequest{Name: "tablet-1", Reason: "left in the yard"}, "", r.record); err != nil {
		t.Fatal(err)
	}
	wantReason(t, r.Judge(anew), fault.Unidentified, "CERTIFICATE_REVOKED")
	r.reopen()
	wantReason(t, r.Judge(anew), fault.Unidentified, "CERTIFICATE_REVOKED")
	if err := r.Judge(stays); err != nil {
		t.Errorf("the other tablet: %v", err)
	}
	r.clock.advance(60*24*time.Hour - time.Nanosecond)
	if err := r.Judge(stays); err != nil {
		t.Errorf("in its last moment: %v", err)
	}
	r.clock.advance(time.Nanosecond)
	wantReason(t, r.Judge(stays), fault.Unidentified, "CERTIFICATE_EXPIRED")
	if again := r.caller(r.enrol("tablet-1")); r.Judge(again) != nil {
		t.Errorf("enrolled again after it was revoked: %v", r.Judge(again))
	}
}

func TestRevoke_EndsStreamsAtOnce(t *testing.T) {
	r := open(t)
	lost, stays := r.caller(r.enrol("tablet-1")), r.caller(r.enrol("tablet-2"))
	cut, release := r.Bind(t.Context(), lost)
	defer release()
	runs, let := r.Bind(t.Context(), stays)
	defer let()
	if _, err := r.Revoke(&pb.RevokeRequest{Name: "tablet-1"}, "", r.record); err != nil {
		t.Fatal(err)
	}
	<-cut.Done()
	wantReason(t, context.Cause(cut), fault.Unidentified, "CERTIFICATE_REVOKED")
	if runs.Err() != nil {
		t.Errorf("the other tablet's stream: %v", context.Cause(runs))
	}
	late, free := r.Bind(t.Context(), lost) // let in before, bound after
	defer free()
	wantReason(t, context.Cause(late), fault.Unidentified, "CERTIFICATE_REVOKED")
}

func TestRevoke_StandsWhenTheRecordTakesNothing(t *testing.T) {
	r := open(t)
	lost := r.caller(r.enrol("tablet-1"))
	full := func(*pb.JournalEvent) error { return errors.New("the disk is full") }
	_, err := r.Revoke(&pb.RevokeRequest{Name: "tablet-1", Reason: "stolen"}, "", full)
	wantReason(t, err, fault.Unavailable, "REVOKED_UNRECORDED")
	wantReason(t, r.Judge(lost), fault.Unidentified, "CERTIFICATE_REVOKED")
	before := r.clock.Now()
	r.clock.advance(time.Hour)
	resp, err := r.Revoke(&pb.RevokeRequest{Name: "tablet-1", Reason: "other words"}, "", r.record)
	if err != nil || !resp.GetClient().GetRevoked().AsTime().Equal(before) || resp.GetClient().GetReason() != "stolen" {
		t.Errorf("again: %v, %v", resp, err)
	}
	_, err = r.Revoke(&pb.RevokeRequest{Name: "tablet-9"}, "", r.record)
	wantReason(t, err, fault.NotFound, "CLIENT_UNKNOWN")
}

func TestRevoke_EndsAnOpenCode(t *testing.T) {
	r := open(t)
	r.enrol("tablet-1")
	code := r.code("tablet-1")
	if _, err := r.Revoke(&pb.RevokeRequest{Name: "tablet-1"}, "", r.record); err != nil {
		t.Fatal(err)
	}
	_, err := r.Enrol(r.apply(r.applicant(), "tablet-1", code), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_NONE")
}

func TestAdmit_TakesNoNameOfAnother(t *testing.T) {
	r := open(t)
	r.enrol("tablet-1")
	r.admit("control", pb.ClientRole_CLIENT_ROLE_SYSTEM)
	a, err := NewApplicant()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"tablet-1", administratorName} {
		_, err := r.Admit(&pb.AdmitRequest{Name: name, Role: pb.ClientRole_CLIENT_ROLE_SYSTEM, CertificateRequest: a.Request()}, "", r.record)
		wantReason(t, err, fault.Exists, "NAME_TAKEN")
	}
	_, err = r.OpenEnrolment("control", "", r.record)
	wantReason(t, err, fault.Exists, "NAME_TAKEN")
	former := r.caller(r.admit("control", pb.ClientRole_CLIENT_ROLE_SYSTEM))
	r.admit("control", pb.ClientRole_CLIENT_ROLE_SYSTEM)
	wantReason(t, r.Judge(former), fault.Unidentified, "CERTIFICATE_SUPERSEDED")
}

func TestMay_KnowsTheTable(t *testing.T) {
	r := open(t)
	system := r.caller(r.admit("control", pb.ClientRole_CLIENT_ROLE_SYSTEM))
	wantReason(t, r.May(system, "/bayround.v1.VehicleService/Apply"), fault.Denied, ReasonRole)
	if err := r.May(system, "/bayround.v1.ReadinessService/GetReadiness"); err != nil {
		t.Error(err)
	}
	if err := r.May(r.Identify(nil), "/bayround.v1.EnrolService/Enrol"); err != nil {
		t.Error(err)
	}
}

func TestRenew_LastsLongerUnderTheSameName(t *testing.T) {
	r := open(t)
	wallet := r.enrol("tablet-1")
	r.clock.advance(40*24*time.Hour - time.Second)
	if wallet.Due() {
		t.Error("due before two thirds of its time")
	}
	r.clock.advance(2 * time.Second)
	if !wallet.Due() {
		t.Fatal("not due after two thirds of its time")
	}
	held, err := wallet.Read()
	if err != nil {
		t.Fatal(err)
	}
	request, err := held.Request()
	if err != nil {
		t.Fatal(err)
	}
	resp, err := r.Renew(r.caller(wallet), request, r.record)
	if err != nil {
		t.Fatal(err)
	}
	if err := wallet.Renewed(resp); err != nil {
		t.Fatal(err)
	}
	r.clock.advance(59 * 24 * time.Hour)
	if err := r.Judge(r.caller(wallet)); err != nil {
		t.Errorf("the renewed certificate: %v", err)
	}
	r.clock.advance(24 * time.Hour)
	if _, err := r.Renew(r.caller(wallet), request, r.record); asFault(err) == nil || asFault(err).Reason != "CERTIFICATE_EXPIRED" {
		t.Errorf("renewed after its end: %v", err)
	}
	if err := wallet.Renewed(&pb.RenewResponse{Certificate: mustRead(t, r.enrol("tablet-2")).pair.Certificate[0], Authority: r.Authority()}); err == nil {
		t.Error("it took another's certificate")
	}
}

func mustRead(t testing.TB, w *Wallet) *Held {
	t.Helper()
	held, err := w.Read()
	if err != nil {
		t.Fatal(err)
	}
	return held
}

func TestRotate_VoidsTheAdministratorsFormerIdentityAndNoTablets(t *testing.T) {
	r := open(t)
	tablet := r.enrol("tablet-1")
	a, code := r.applicant(), r.code("tablet-2")
	mine := OpenWallet(FilesIn(r.AdministratorFolder()), r.clock.Now)
	former := r.caller(mine)
	if err := r.Judge(former); err != nil {
		t.Fatal(err)
	}
	if err := r.Rotate(); err != nil {
		t.Fatal(err)
	}
	wantReason(t, r.Judge(former), fault.Unidentified, "CERTIFICATE_SUPERSEDED")
	if err := r.Judge(r.caller(mine)); err != nil {
		t.Errorf("the new one: %v", err)
	}
	if _, err := connect(t, r.Config(), tablet.Config()); err != nil {
		t.Errorf("a tablet after the rotation: %v", err)
	}
	if _, err := r.Enrol(r.apply(a, "tablet-2", code), r.record); err != nil {
		t.Errorf("an enrolment over the rotation: %v", err)
	}
}

func TestOpenGate_RefusesAFolderThatWasSpoilt(t *testing.T) {
	for name, tc := range map[string]struct {
		spoil  func(folder string) error
		reason string
	}{
		"register gone":    {func(f string) error { return os.Remove(filepath.Join(f, registerFile)) }, "REGISTER_UNREADABLE"},
		"register cut":     {func(f string) error { return os.Truncate(filepath.Join(f, registerFile), 20) }, "REGISTER_UNREADABLE"},
		"register newer":   {raise, "REGISTER_NEWER"},
		"key gone":         {func(f string) error { return os.Remove(filepath.Join(f, authorityKeyFile)) }, "AUTHORITY_LOST"},
		"certificate gone": {func(f string) error { return os.Remove(filepath.Join(f, authorityCertFile)) }, "AUTHORITY_LOST"},
		"another's key":    {anothersKey, "AUTHORITY_LOST"},
	} {
		t.Run(name, func(t *testing.T) {
			r := open(t)
			if err := tc.spoil(r.folder); err != nil {
				t.Fatal(err)
			}
			_, err := OpenGate(GateOptions{Folder: r.folder, Now: r.clock.Now})
			if f := asFault(err); f == nil || f.Reason != tc.reason {
				t.Errorf("%v, want %s", err, tc.reason)
			}
		})
	}
}

func raise(folder string) error {
	name := filepath.Join(folder, registerFile)
	b, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	return os.WriteFile(name, []byte(strings.Replace(string(b), `"version": 1`, `"version": 3`, 1)), 0o600)
}

func anothersKey(folder string) error {
	key, err := newKey()
	if err != nil {
		return err
	}
	b, err := encodeKey(key)
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(folder, authorityKeyFile), b, 0o600)
}

// A first start that was ended half-way leaves files of an authority nobody knows yet.
func TestOpenGate_AFirstStartThatBrokeOffBeginsAnew(t *testing.T) {
	folder := t.TempDir()
	if err := (&register{Version: registerVersion}).write(folder); err != nil {
		t.Fatal(err)
	}
	if err := anothersKey(folder); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenGate(GateOptions{Folder: folder, Now: time.Now}); err != nil {
		t.Error(err)
	}
}

// endOnDisk is when the authority's certificate ends by what any X.509 library reads in its file.
func endOnDisk(t testing.TB, folder string) time.Time {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(folder, authorityCertFile))
	must(t, err)
	block, _ := pem.Decode(b)
	c, err := x509.ParseCertificate(block.Bytes)
	must(t, err)
	return c.NotAfter
}

func TestAuthorityState_TellsWhenItEnds(t *testing.T) {
	r := open(t)
	first := endOnDisk(t, r.folder)
	wantEnd := func(step string, want time.Time) {
		t.Helper()
		if got := r.AuthorityState().GetNotAfter().AsTime(); !got.Equal(want) {
			t.Errorf("%s: it ends %v, want %v", step, got, want)
		}
	}
	wantEnd("at the first start", first)
	r.clock.advance(9 * 365 * 24 * time.Hour)
	r.rotate(time.Hour)
	wantEnd("as another takes its place", first)
	must(t, r.pass(time.Hour, r.record))
	if next := endOnDisk(t, r.folder); !next.After(first) {
		t.Errorf("the next one ends %v, the former %v", next, first)
	}
	wantEnd("retired", endOnDisk(t, r.folder))
}

// The log is told of an authority that ends within a year, at the start and once a day,
// until another takes its place.
func TestRun_TellsDailyOfAnAuthorityThatEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now, folder := time.Now, filepath.Join(t.TempDir(), "trust")
		gate, err := OpenGate(GateOptions{Folder: folder, Now: func() time.Time { return now() }})
		must(t, err)
		end := endOnDisk(t, folder)
		record := func(*pb.JournalEvent) error { return nil }
		// told is how often an end was told while the station ran for a time that began so
		// long before it.
		told := func(before, runs time.Duration) (n int) {
			t.Helper()
			ahead := time.Until(end.Add(-before))
			now = func() time.Time { return time.Now().Add(ahead) }
			ctx, cancel := context.WithTimeout(t.Context(), runs)
			defer cancel()
			gate.Run(ctx, record, Told{Failed: func(err error) { t.Error(err) }, Ending: func(notAfter time.Time) {
				n++
				if !notAfter.Equal(end) {
					t.Errorf("told of an end at %v, want %v", notAfter, end)
				}
			}})
			return n
		}
		const day = 24 * time.Hour
		for _, tc := range []struct {
			before, runs time.Duration
			want         int
		}{
			{366 * day, 23 * time.Hour, 0},
			{365*day + time.Hour, 2 * time.Hour, 1},
			{365*day - time.Second, time.Minute, 1},
			{300 * day, 3*day + time.Hour, 4},
			{-day, time.Minute, 1},
		} {
			if got := told(tc.before, tc.runs); got != tc.want {
				t.Errorf("from %v before its end, for %v: told %d times, want %d", tc.before, tc.runs, got, tc.want)
			}
		}
		_, err = gate.RotateAuthority(&pb.RotateAuthorityRequest{}, "", record)
		must(t, err)
		if got := told(300*day, 3*day); got != 0 {
			t.Errorf("while another takes its place: told %d times", got)
		}
	})
}
