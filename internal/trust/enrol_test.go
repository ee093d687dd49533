package trust

import (
	"bytes"
	"crypto/x509"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

func asFault(err error) *fault.Fault {
	var f *fault.Fault
	if !errors.As(err, &f) {
		return nil
	}
	return f
}

func TestEnrol_GivesACertificateThatIsGoodForAClientAndNothingElse(t *testing.T) {
	r := open(t)
	wallet := r.enrol("tablet-1")
	held, err := wallet.Read()
	if err != nil {
		t.Fatal(err)
	}
	c := held.pair.Leaf
	if c.Subject.CommonName != "" || len(c.DNSNames)+len(c.IPAddresses)+len(c.EmailAddresses) > 0 {
		t.Errorf("the certificate names somebody outside its URI: %v", c.Subject)
	}
	if len(c.ExtKeyUsage) != 1 || c.ExtKeyUsage[0] != x509.ExtKeyUsageClientAuth || c.IsCA {
		t.Errorf("it is good for %v, authority %v", c.ExtKeyUsage, c.IsCA)
	}
	if lasts := c.NotAfter.Sub(r.clock.Now()); lasts != 60*24*time.Hour {
		t.Errorf("it lasts %v, want 60 days", lasts)
	}
	state, err := connect(t, r.Config(), wallet.Config())
	if err != nil {
		t.Fatal(err)
	}
	caller := r.Identify(state.PeerCertificates)
	if caller.Name != "tablet-1" || caller.Role != pb.ClientRole_CLIENT_ROLE_TABLET || r.Judge(caller) != nil {
		t.Errorf("the station takes it for %+v: %v", caller, r.Judge(caller))
	}
	if _, err := connect(t, wallet.Config(), r.enrol("tablet-2").Config()); err == nil {
		t.Error("a tablet passed for the station")
	}
	if got := r.recorded[1].GetClientAdmitted().GetClient(); got.GetName() != "tablet-1" || got.GetKeySha256() != digestOf(c.RawSubjectPublicKeyInfo) {
		t.Errorf("recorded: %v", r.recorded)
	}
}

func TestEnrol_RefusesEveryCodeButTheOneThatIsOpen(t *testing.T) {
	r := open(t)
	a := r.applicant()
	_, err := r.Enrol(r.apply(a, "tablet-1", "0123456789ABCDEF"), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_NONE")

	first := r.code("tablet-1")
	second := r.code("tablet-1") // makes the first void
	_, err = r.Enrol(r.apply(a, "tablet-1", first), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_WRONG")
	_, err = r.Enrol(r.apply(a, "tablet-2", second), r.record) // the code of another
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_NONE")

	r.clock.advance(15*time.Minute - time.Nanosecond)
	good := r.apply(a, "tablet-1", second)
	resp, err := r.Enrol(good, r.record)
	if err != nil {
		t.Fatalf("the right code in its last moment: %v", err)
	}
	other := r.applicant()
	_, err = r.Enrol(r.apply(other, "tablet-1", second), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_USED")
	again, err := r.Enrol(good, r.record) // the answer was lost on the way
	if err != nil || !bytes.Equal(again.GetCertificate(), resp.GetCertificate()) {
		t.Errorf("the same request again: %v", err)
	}
	r.clock.advance(time.Nanosecond)
	_, err = r.Enrol(good, r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_EXPIRED")
}

func TestEnrol_AClockSetBackMakesNoCodeYounger(t *testing.T) {
	r := open(t)
	a, code := r.applicant(), r.code("tablet-1")
	r.clock.advance(-time.Hour)
	_, err := r.Enrol(r.apply(a, "tablet-1", code), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_EXPIRED")
}

func TestEnrol_FiveWrongCodesEndItAlsoOverARestart(t *testing.T) {
	r := open(t)
	code := r.code("tablet-1")
	for try := 1; try <= 5; try++ {
		r.reopen()
		a := r.applicant()
		_, err := r.Enrol(r.apply(a, "tablet-1", strings.Repeat("0", codeLength)), r.record)
		wantReason(t, err, fault.Unidentified, "ENROL_CODE_WRONG")
	}
	r.reopen()
	a := r.applicant()
	_, err := r.Enrol(r.apply(a, "tablet-1", code), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_SPENT")
}

func TestEnrol_WhatWasSeenElsewhereIsNoProof(t *testing.T) {
	r := open(t)
	code := r.code("tablet-1")
	relayed, err := NewApplicant() // connected to somebody in between
	if err != nil {
		t.Fatal(err)
	}
	between := open(t)
	if _, err := connect(t, between.Config(), relayed.Config(between.AuthoritySHA256())); err != nil {
		t.Fatal(err)
	}
	_, err = r.Enrol(r.apply(relayed, "tablet-1", code), r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_WRONG")

	req := r.apply(r.applicant(), "tablet-1", code)
	thief, err := NewApplicant()
	if err != nil {
		t.Fatal(err)
	}
	req.CertificateRequest = thief.Request() // another key under the same proof
	_, err = r.Enrol(req, r.record)
	wantReason(t, err, fault.Unidentified, "ENROL_CODE_WRONG")
}

func TestEnrol_ARequestThatIsNoneUsesNoCode(t *testing.T) {
	r := open(t)
	code, a := r.code("tablet-1"), r.applicant()
	for name, request := range map[string][]byte{"empty": nil, "noise": []byte("no request"), "cut short": a.request[:len(a.request)-1]} {
		_, err := r.Enrol(&pb.EnrolRequest{
			Device: "tablet-1", CertificateRequest: request, Mac: macOf(macKey(code), "tablet-1", request, r.serving.Load().spkis[0]),
		}, r.record)
		if f := asFault(err); f == nil || f.Reason != "CERTIFICATE_REQUEST_UNUSABLE" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := r.Enrol(r.apply(a, "tablet-1", code), r.record); err != nil {
		t.Errorf("the code after them: %v", err)
	}
}

func TestEnrol_WhatCannotBeRecordedIsNotDone(t *testing.T) {
	r := open(t)
	full := errors.New("the record takes nothing")
	code, a := r.code("tablet-1"), r.applicant()
	req := r.apply(a, "tablet-1", code)
	if _, err := r.Enrol(req, func(*pb.JournalEvent) error { return full }); !errors.Is(err, full) {
		t.Fatalf("%v", err)
	}
	if len(r.Clients()) != 1 { // whoever runs the station
		t.Errorf("let in: %v", r.Clients())
	}
	if _, err := r.Enrol(req, r.record); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

// The pin of the wrong station: somebody answers at its address.
func TestApplicant_TellsNothingToAnotherStation(t *testing.T) {
	r, spoofed := open(t), open(t)
	a, err := NewApplicant()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := connect(t, spoofed.Config(), a.Config(r.AuthoritySHA256())); err == nil {
		t.Fatal("it went on with another station")
	}
	wantReason(t, a.Trouble(), fault.Unidentified, "STATION_FOREIGN")
	if _, err := a.Apply("tablet-1", "0123456789ABCDEF"); err == nil {
		t.Error("it has something to tell")
	}
	// The station's own certificates, which anybody can copy, in front of another key.
	stolen := spoofed.serving.Load().pair
	liar := spoofed.Config()
	stolen.Certificate = append(stolen.Certificate[:1:1], r.keys.Load().shows.cert.Raw)
	if _, err := connect(t, liar, a.Config(r.AuthoritySHA256())); err == nil {
		t.Error("it went on with a chain that does not hold")
	}
}

func TestWallet_GoesOnWithItsOwnStationAlone(t *testing.T) {
	r, spoofed := open(t), open(t)
	wallet := r.enrol("tablet-1")
	if _, err := connect(t, spoofed.Config(), wallet.Config()); err == nil {
		t.Fatal("it went on with another station")
	}
	wantReason(t, wallet.Trouble(), fault.Unidentified, "STATION_FOREIGN")
	r.clock.advance(400 * 24 * time.Hour) // the tablet's clock may be anywhere
	if _, err := connect(t, r.Config(), wallet.Config()); err != nil || wallet.Trouble() != nil {
		t.Errorf("its own station: %v, %v", err, wallet.Trouble())
	}
	empty := OpenWallet(FilesIn(t.TempDir()), r.clock.Now)
	if _, err := connect(t, r.Config(), empty.Config()); err == nil {
		t.Error("it went on without an identity")
	}
	wantReason(t, empty.Trouble(), fault.Unidentified, "NOT_ENROLLED")
}

func TestIdentity_FilesAreTheirOwnersAlone(t *testing.T) {
	r := open(t)
	r.enrol("tablet-1")
	for _, folder := range []string{r.folder, r.AdministratorFolder()} {
		entries, err := os.ReadDir(folder)
		if err != nil || len(entries) < 3 {
			t.Fatalf("%v: %v", entries, err)
		}
		for _, e := range entries {
			info, err := e.Info()
			if err != nil || info.Mode().Perm()&0o077 != 0 {
				t.Errorf("%s: %v, %v", filepath.Join(folder, e.Name()), info.Mode(), err)
			}
		}
	}
	b, err := os.ReadFile(filepath.Join(r.folder, registerFile))
	if err != nil {
		t.Fatal(err)
	}
	code := r.code("tablet-2")
	if b2, _ := os.ReadFile(filepath.Join(r.folder, registerFile)); bytes.Contains(b2, []byte(code)) || bytes.Equal(b, b2) {
		t.Error("the register holds the code itself, or nothing of it")
	}
}
