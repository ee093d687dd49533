package trust

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"bayround/internal/fault"
	pb "bayround/proto/bayround/v1"
)

// clock is a clock that tests move.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// rig is a gate on a real folder, and what it recorded.
type rig struct {
	*Gate
	t        testing.TB
	clock    *clock
	folder   string
	recorded []*pb.JournalEvent
}

func open(t testing.TB) *rig {
	t.Helper()
	r := &rig{t: t, clock: &clock{now: time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)}, folder: filepath.Join(t.TempDir(), "trust")}
	r.reopen()
	return r
}

// reopen is a restart of the station.
func (r *rig) reopen() {
	r.t.Helper()
	gate, err := OpenGate(GateOptions{Folder: r.folder, Now: r.clock.Now})
	if err != nil {
		r.t.Fatal(err)
	}
	r.Gate = gate
}

func (r *rig) record(ev *pb.JournalEvent) error {
	r.recorded = append(r.recorded, ev)
	return nil
}

// code opens an enrolment and returns its code.
func (r *rig) code(device string) string {
	r.t.Helper()
	resp, err := r.OpenEnrolment(device, "administrator", r.record)
	if err != nil {
		r.t.Fatal(err)
	}
	code, err := ReadCode(resp.GetCode())
	if err != nil {
		r.t.Fatalf("the gate's own code %q: %v", resp.GetCode(), err)
	}
	return code
}

// applicant is a tablet that has connected.
func (r *rig) applicant() *Applicant {
	r.t.Helper()
	a, err := NewApplicant()
	if err != nil {
		r.t.Fatal(err)
	}
	if _, err := connect(r.t, r.Config(), a.Config(r.AuthoritySHA256())); err != nil {
		r.t.Fatal(err)
	}
	return a
}

func (r *rig) apply(a *Applicant, device, code string) *pb.EnrolRequest {
	r.t.Helper()
	req, err := a.Apply(device, code)
	if err != nil {
		r.t.Fatal(err)
	}
	return req
}

// enrol enrols a tablet and returns its wallet.
func (r *rig) enrol(device string) *Wallet {
	r.t.Helper()
	a := r.applicant()
	resp, err := r.Enrol(r.apply(a, device, r.code(device)), r.record)
	if err != nil {
		r.t.Fatal(err)
	}
	folder := r.t.TempDir()
	if err := a.Keep(folder, resp); err != nil {
		r.t.Fatal(err)
	}
	return OpenWallet(FilesIn(folder), r.clock.Now)
}

// admit lets a program in and returns its wallet.
func (r *rig) admit(name string, role pb.ClientRole) *Wallet {
	r.t.Helper()
	a, err := NewApplicant()
	if err != nil {
		r.t.Fatal(err)
	}
	resp, err := r.Admit(&pb.AdmitRequest{Name: name, Role: role, CertificateRequest: a.Request()}, "administrator", r.record)
	if err != nil {
		r.t.Fatal(err)
	}
	folder := r.t.TempDir()
	if err := a.Keep(folder, resp); err != nil {
		r.t.Fatal(err)
	}
	return OpenWallet(FilesIn(folder), r.clock.Now)
}

// caller is who the gate takes a wallet's owner for.
func (r *rig) caller(w *Wallet) Caller {
	r.t.Helper()
	held, err := w.Read()
	if err != nil {
		r.t.Fatal(err)
	}
	return r.Identify([]*x509.Certificate{held.pair.Leaf})
}

// connect shakes hands and returns what the station saw.
func connect(t testing.TB, station, client *tls.Config) (tls.ConnectionState, error) {
	t.Helper()
	near, far := net.Pipe()
	defer func() { _, _ = near.Close(), far.Close() }()
	server := tls.Server(far, station)
	done := make(chan error, 1)
	go func() { done <- server.HandshakeContext(t.Context()) }()
	c := tls.Client(near, client)
	if err := c.HandshakeContext(t.Context()); err != nil {
		_ = near.Close()
		<-done
		return tls.ConnectionState{}, err
	}
	if err := <-done; err != nil {
		return tls.ConnectionState{}, err
	}
	return server.ConnectionState(), nil
}

// wantReason wants a refusal.
func wantReason(t testing.TB, err error, kind fault.Kind, reason string) {
	t.Helper()
	f := asFault(err)
	if f == nil || f.Kind != kind || f.Reason != reason {
		t.Errorf("%v, want %s (%v)", err, reason, kind)
	}
}
