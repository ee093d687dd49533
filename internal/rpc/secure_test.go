package rpc

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"

	"bayround/internal/fault"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// secure is a connection as our own programs make it.
func (g *gated) dial(w *trust.Wallet) *grpc.ClientConn {
	g.t.Helper()
	conn, err := DialSecure(g.address, w)
	if err != nil {
		g.t.Fatal(err)
	}
	g.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func (g *gated) administrator() *trust.Wallet {
	return trust.OpenWallet(trust.FilesIn(g.gate.AdministratorFolder()), time.Now)
}

func wantFault(t testing.TB, err error, kind fault.Kind, reason string) {
	t.Helper()
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != kind || f.Reason != reason {
		t.Errorf("%v, want %s (%v)", err, reason, kind)
	}
}

// The station's part is played by another one at its address, as a spoofed one would.
func TestEnrol_TellsNothingToASpoofedStation(t *testing.T) {
	g, spoofed := serveGated(t), serveGated(t)
	a, err := trust.NewApplicant()
	if err != nil {
		t.Fatal(err)
	}
	opened, err := spoofed.gate.OpenEnrolment("tablet-1", "", func(*pb.JournalEvent) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	code, err := trust.ReadCode(opened.GetCode()) // even with a code of its own
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	ticket := Ticket{Device: "tablet-1", Code: code, AuthoritySHA256: g.gate.AuthoritySHA256(), Folder: folder}
	wantFault(t, Enrol(t.Context(), spoofed.address, a, ticket), fault.Unidentified, "STATION_FOREIGN")
	if _, err := trust.OpenWallet(trust.FilesIn(folder), time.Now).Read(); err == nil {
		t.Error("it has an identity now")
	}
	wantFault(t, Enrol(t.Context(), g.address, a, ticket), fault.Unidentified, "ENROL_CODE_NONE")

	wallet := g.wallet(pb.ClientRole_CLIENT_ROLE_TABLET)
	conn, err := DialSecure(spoofed.address, wallet)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	_, err = pb.NewReadinessServiceClient(conn).ListReadiness(t.Context(), &pb.ListReadinessRequest{})
	wantFault(t, err, fault.Unidentified, "STATION_FOREIGN")
	stream, err := pb.NewReadinessServiceClient(conn).WatchReadiness(t.Context(), &pb.WatchReadinessRequest{})
	if err == nil {
		_, err = stream.Recv()
	}
	wantFault(t, err, fault.Unidentified, "STATION_FOREIGN")
}

func TestRevoke_EndsAWatchAndLeavesOthersAlone(t *testing.T) {
	g := serveGated(t)
	lost, stays := g.dial(g.wallet(pb.ClientRole_CLIENT_ROLE_TABLET)), g.dial(g.wallet(pb.ClientRole_CLIENT_ROLE_SYSTEM))
	cut, runs := watchOf(t, lost), watchOf(t, stays)
	admin := pb.NewEnrolServiceClient(g.dial(g.administrator()))
	if _, err := admin.Revoke(t.Context(), &pb.RevokeRequest{Name: "a-tablet", Reason: "left in the yard"}); err != nil {
		t.Fatal(err)
	}
	for {
		_, err := cut.Recv()
		if err == nil {
			continue // heartbeats on their way
		}
		wantFault(t, err, fault.Unidentified, "CERTIFICATE_REVOKED")
		break
	}
	if _, err := runs.Recv(); err != nil {
		t.Errorf("the other's watch: %v", err)
	}
	_, err := pb.NewReadinessServiceClient(lost).ListReadiness(t.Context(), &pb.ListReadinessRequest{})
	wantFault(t, err, fault.Unidentified, "CERTIFICATE_REVOKED")
	if !strings.Contains(err.Error(), "left in the yard") || !strings.Contains(err.Error(), "is kept") {
		t.Errorf("the refusal says neither why nor that nothing is lost: %v", err)
	}
	list, err := admin.ListClients(t.Context(), &pb.ListClientsRequest{})
	if err != nil || len(list.GetClients()) != 3 || list.GetClients()[1].GetRevoked() == nil {
		t.Errorf("clients: %v, %v", list, err)
	}
	// Revoked again, it is recorded once.
	if _, err := admin.Revoke(t.Context(), &pb.RevokeRequest{Name: "a-tablet"}); err != nil {
		t.Fatal(err)
	}
	told := g.recorded()
	if revoked := count(told, func(ev *pb.JournalEvent) bool { return ev.GetClientRevoked() != nil }); revoked != 1 {
		t.Errorf("%d revocations in the record", revoked)
	}
	if count(told, func(ev *pb.JournalEvent) bool { return ev.GetClientAdmitted().GetClient().GetName() == "a-tablet" }) != 1 {
		t.Errorf("the enrolment is not in the record: %v", told)
	}
}

func watchOf(t testing.TB, conn *grpc.ClientConn) grpc.ServerStreamingClient[pb.WatchReadinessResponse] {
	t.Helper()
	stream, err := pb.NewReadinessServiceClient(conn).WatchReadiness(t.Context(), &pb.WatchReadinessRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	return stream
}

// recorded is everything in the record.
func (g *gated) recorded() []*pb.JournalEvent {
	g.t.Helper()
	var all []*pb.JournalEvent
	err := g.station.Events(context.Background(), 1, func(ev *pb.JournalEvent) error {
		all = append(all, ev)
		return nil
	})
	if err != nil {
		g.t.Fatal(err)
	}
	return all
}

func count(events []*pb.JournalEvent, is func(*pb.JournalEvent) bool) (n int) {
	for _, ev := range events {
		if is(ev) {
			n++
		}
	}
	return n
}

// Callers that connect anew all the time, and one that stays, while the station's
// certificate is replaced twenty times: no call fails.
func TestRotate_NoCallFails(t *testing.T) {
	g := serveGated(t)
	wallet := g.wallet(pb.ClientRole_CLIENT_ROLE_TABLET)
	stays := pb.NewReadinessServiceClient(g.dial(wallet))
	var done atomic.Bool
	var callers sync.WaitGroup
	answers := make(chan error)
	call := func(client pb.ReadinessServiceClient) {
		_, err := client.ListReadiness(t.Context(), &pb.ListReadinessRequest{})
		answers <- err
	}
	for range 2 {
		callers.Go(func() {
			for !done.Load() {
				conn, err := DialSecure(g.address, wallet)
				if err != nil {
					answers <- err
					return
				}
				call(pb.NewReadinessServiceClient(conn))
				_ = conn.Close()
			}
		})
	}
	callers.Go(func() {
		for !done.Load() {
			call(stays)
		}
	})
	for range 20 {
		if err := g.gate.Rotate(); err != nil {
			t.Fatal(err)
		}
		for range 6 {
			if err := <-answers; err != nil {
				t.Error(err)
			}
		}
	}
	done.Store(true)
	go func() { callers.Wait(); close(answers) }()
	for err := range answers {
		if err != nil {
			t.Error(err)
		}
	}
}

func TestKeepRenewed_RenewsBeforeTheEnd(t *testing.T) {
	g := serveGated(t)
	wallet := g.wallet(pb.ClientRole_CLIENT_ROLE_TABLET)
	before, err := wallet.Read()
	if err != nil {
		t.Fatal(err)
	}
	conn := g.dial(wallet)
	// The tablet's clock says that two thirds are over; the station's does not matter.
	later := trust.OpenWallet(wallet.Files(), func() time.Time { return time.Now().Add(41 * 24 * time.Hour) })
	ctx, cancel := context.WithCancel(t.Context())
	KeepRenewed(ctx, once{conn, cancel}, later, slog.New(slog.DiscardHandler), time.Hour)
	now, err := wallet.Read()
	if err != nil || now.Serial() == before.Serial() || now.Identity != before.Identity {
		t.Errorf("the certificate after it: %v of %v, %v", now.Serial(), now.Identity, err)
	}
	if _, err := pb.NewReadinessServiceClient(g.dial(wallet)).ListReadiness(t.Context(), &pb.ListReadinessRequest{}); err != nil {
		t.Errorf("with the renewed certificate: %v", err)
	}
	if n := count(g.recorded(), func(ev *pb.JournalEvent) bool { return ev.GetClientRenewed() != nil }); n != 1 {
		t.Errorf("%d renewals in the record", n)
	}
}

// once is a connection on which one call is made.
type once struct {
	grpc.ClientConnInterface
	called func()
}

// Invoke makes it.
func (o once) Invoke(ctx context.Context, method string, req, resp any, options ...grpc.CallOption) error {
	defer o.called()
	return o.ClientConnInterface.Invoke(ctx, method, req, resp, options...)
}

// A hundred refusals are one event, which says who, what, why and how often.
func TestDenials_AreSummedUpInTheRecord(t *testing.T) {
	g := serveGated(t)
	system := g.dial(g.wallet(pb.ClientRole_CLIENT_ROLE_SYSTEM))
	for range 100 {
		_, err := pb.NewVehicleServiceClient(system).Apply(t.Context(), &pb.ApplyRequest{})
		wantFault(t, err, fault.Denied, trust.ReasonRole)
	}
	nobody := pb.NewTwinServiceClient(g.as(0))
	if _, err := nobody.GetLibrary(t.Context(), &pb.GetLibraryRequest{}); err == nil {
		t.Error("nobody was given everything in force")
	}
	g.server.Stop(t.Context())
	var told []*pb.AccessDenied
	for _, ev := range g.recorded() {
		if ev.GetAccessDenied() != nil {
			told = append(told, ev.GetAccessDenied())
		}
	}
	if len(told) != 1 || len(told[0].GetDenials()) != 2 {
		t.Fatalf("recorded: %v", told)
	}
	most, one := told[0].GetDenials()[0], told[0].GetDenials()[1]
	if most.GetCount() != 100 || most.GetClient() != "a-system" || most.GetReason() != trust.ReasonRole || most.GetMethod() != pb.VehicleService_Apply_FullMethodName {
		t.Errorf("%v", most)
	}
	if one.GetCount() != 1 || one.GetClient() != "" || one.GetReason() != "CERTIFICATE_MISSING" || one.GetAddress() != "127.0.0.1" {
		t.Errorf("%v", one)
	}
}

// Kinds of refusal beyond so many are only counted, so that nobody fills the record.
func TestDenials_AreBounded(t *testing.T) {
	d := newDenials(nil, slog.New(slog.DiscardHandler), time.Hour)
	for i := range 3 * mostDenials {
		d.note(trust.Caller{}, strings.Repeat("1", i+1), "/m", "R")
	}
	told := d.take()
	if len(told.GetDenials()) != mostDenials || told.GetLeftOut() != 2*mostDenials {
		t.Errorf("%d kinds, %d left out", len(told.GetDenials()), told.GetLeftOut())
	}
	if d.take() != nil {
		t.Error("taken twice")
	}
}

func TestEnrolService_IsOfNoUseInPlainText(t *testing.T) {
	_, conn := serve(t, openStation(t), Options{})
	_, err := pb.NewEnrolServiceClient(conn).OpenEnrolment(t.Context(), &pb.OpenEnrolmentRequest{Device: "tablet-1"})
	if reasonOfStatus(err) != "PLAIN_TEXT" {
		t.Errorf("%v", err)
	}
}

func TestDial_RefusesPlainTextToOtherMachines(t *testing.T) {
	for address, want := range map[string]bool{
		"127.0.0.1:7443": true, "[::1]:7443": true, "localhost:7443": true,
		"192.0.2.7:7443": false, "station.example:7443": false, ":7443": false, "": false, "dns:///station.example:7443": false,
	} {
		conn, err := Dial(address)
		if (err == nil) != want {
			t.Errorf("%q: %v", address, err)
		}
		if conn != nil {
			_ = conn.Close()
		}
	}
}

// A station that shows no certificate at all, or speaks something else, is no station.
func TestDialSecure_APlainStationIsNotTalkedTo(t *testing.T) {
	g := serveGated(t)
	_, plain := serve(t, openStation(t), Options{})
	conn, err := DialSecure(plain.Target(), g.wallet(pb.ClientRole_CLIENT_ROLE_TABLET))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	if _, err := pb.NewReadinessServiceClient(conn).ListReadiness(t.Context(), &pb.ListReadinessRequest{}); err == nil || errors.Is(err, io.EOF) {
		t.Errorf("a station in plain text answered: %v", err)
	}
}
