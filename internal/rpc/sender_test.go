package rpc_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// enrolled is the identity of a tablet that enrolled itself over the wire.
func enrolled(t *testing.T, served *stationtest.Served, gate *trust.Gate, device string) *trust.Wallet {
	t.Helper()
	return enrolledInto(t, served, gate, device, t.TempDir())
}

// enrolledInto is enrolled with a folder for the identity, in which there may be one.
func enrolledInto(t *testing.T, served *stationtest.Served, gate *trust.Gate, device, folder string) *trust.Wallet {
	t.Helper()
	admin := pb.NewEnrolServiceClient(secured(t, served, trust.OpenWallet(trust.FilesIn(gate.AdministratorFolder()), time.Now)))
	opened, err := admin.OpenEnrolment(t.Context(), &pb.OpenEnrolmentRequest{Device: device})
	if err != nil {
		t.Fatal(err)
	}
	a, err := trust.NewApplicant()
	if err != nil {
		t.Fatal(err)
	}
	code, err := trust.ReadCode(opened.GetCode())
	if err != nil {
		t.Fatal(err)
	}
	ticket := rpc.Ticket{Device: device, Code: code, AuthoritySHA256: opened.GetAuthoritySha256(), Folder: folder}
	if err := rpc.Enrol(t.Context(), served.Address, a, ticket); err != nil {
		t.Fatal(err)
	}
	return trust.OpenWallet(trust.FilesIn(ticket.Folder), time.Now)
}

func secured(t *testing.T, served *stationtest.Served, w *trust.Wallet) *grpc.ClientConn {
	t.Helper()
	conn, err := rpc.DialSecure(served.Address, w)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// senderIn is how the record names who has the certificate that lies in a file, worked
// out by encoding/pem and crypto/sha256 alone.
func senderIn(t *testing.T, w *trust.Wallet, name string, role pb.ClientRole) *pb.Sender {
	t.Helper()
	text, err := os.ReadFile(w.Files().Cert)
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(text)
	sum := sha256.Sum256(block.Bytes)
	return &pb.Sender{Client: name, Role: role, CertificateSha256: sum[:]}
}

// newestEvents are the events behind those that were there before.
func newestEvents(t *testing.T, kit *stationtest.Kit, after int64) (events []*pb.JournalEvent) {
	t.Helper()
	err := kit.Events(t.Context(), after+1, func(ev *pb.JournalEvent) error {
		events = append(events, ev)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return events
}

// Whatever device a command names, its event says which certificate it came by: the
// newest one of two when it was renewed meanwhile; and what the station did by itself
// came by none. The admission of each certificate in the record names it, too.
func TestSender_IsWhatTheConnectionShowedNotWhatTheCommandSays(t *testing.T) {
	kit := stationtest.Open(t)
	gate, err := trust.OpenGate(trust.GateOptions{Folder: filepath.Join(t.TempDir(), "trust"), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	served := stationtest.Serve(t, kit.Station, rpc.Options{Gate: gate})
	before := int64(len(newestEvents(t, kit, 0)))
	wallet := enrolled(t, served, gate, "tablet-2")
	first := senderIn(t, wallet, "tablet-2", pb.ClientRole_CLIENT_ROLE_TABLET)
	conn := secured(t, served, wallet)
	rounds := pb.NewRoundServiceClient(conn)
	round := "rounds/" + kit.ID()
	if _, err := rounds.OpenRound(t.Context(), &pb.OpenRoundRequest{Round: round, Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/driver", Device: "tablet-1"}); err != nil {
		t.Fatal(err)
	}
	stream, err := rounds.RecordResults(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&pb.RecordResultsRequest{Record: kit.Request(round, stationtest.Seen("GLA-010/windscreen", "sound"))}); err != nil {
		t.Fatal(err)
	}
	if answer, err := stream.Recv(); err != nil || answer.GetRecorded() == nil {
		t.Fatal(answer, err)
	}
	renew(t, conn, wallet)
	second := senderIn(t, wallet, "tablet-2", pb.ClientRole_CLIENT_ROLE_TABLET)
	again := pb.NewRoundServiceClient(secured(t, served, wallet))
	if _, err := again.PauseRound(t.Context(), &pb.PauseRoundRequest{Round: round, RequestId: kit.ID()}); err != nil {
		t.Fatal(err)
	}
	kit.OpenRound("vehicles/p2", "routines/shift") // by nobody's command over the wire

	admin := trust.OpenWallet(trust.FilesIn(gate.AdministratorFolder()), time.Now)
	want := map[string]*pb.Sender{
		"code": senderIn(t, admin, "this-machine", pb.ClientRole_CLIENT_ROLE_ADMINISTRATOR), "admitted": {}, "opened vehicles/p1": first,
		"recorded": first, "renewed": first, "paused": second, "opened vehicles/p2": nil,
	}
	got := map[string]*pb.Sender{}
	for _, ev := range newestEvents(t, kit, before) {
		switch e := ev.GetEvent().(type) {
		case *pb.JournalEvent_EnrolmentOpened:
			got["code"] = ev.GetSender()
		case *pb.JournalEvent_ClientAdmitted:
			got["admitted"] = ev.GetSender()
			if e.ClientAdmitted.GetClient().GetCertificateSha256() != hex.EncodeToString(first.GetCertificateSha256()) {
				t.Errorf("the admission names the certificate %q", e.ClientAdmitted.GetClient().GetCertificateSha256())
			}
		case *pb.JournalEvent_ClientRenewed:
			got["renewed"] = ev.GetSender()
			if e.ClientRenewed.GetClient().GetCertificateSha256() != hex.EncodeToString(second.GetCertificateSha256()) {
				t.Errorf("the renewal names the certificate %q", e.ClientRenewed.GetClient().GetCertificateSha256())
			}
		case *pb.JournalEvent_RoundOpened:
			got["opened "+ev.GetVehicle()] = ev.GetSender()
		case *pb.JournalEvent_ResultRecorded:
			got["recorded"] = ev.GetSender()
		case *pb.JournalEvent_RoundStateChanged:
			got["paused"] = ev.GetSender()
			if ev.GetDevice() != "tablet-1" {
				t.Errorf("what was told of the device is gone: %q", ev.GetDevice())
			}
		}
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("senders (-want +got):\n%s", diff)
	}
}

// renew has a tablet's certificate renewed, as it does by itself.
func renew(t *testing.T, conn *grpc.ClientConn, wallet *trust.Wallet) {
	t.Helper()
	held, err := wallet.Read()
	if err != nil {
		t.Fatal(err)
	}
	request, err := held.Request()
	if err != nil {
		t.Fatal(err)
	}
	resp, err := pb.NewEnrolServiceClient(conn).Renew(t.Context(), &pb.RenewRequest{CertificateRequest: request})
	if err != nil {
		t.Fatal(err)
	}
	if err := wallet.Renewed(resp); err != nil {
		t.Fatal(err)
	}
}

// In plain text nobody knows which program it was, and the event says so.
func TestSender_OfPlainTextSaysSo(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	resp, err := pb.NewRoundServiceClient(conn).RecordResult(t.Context(), kit.Request(round, stationtest.Seen("GLA-010/windscreen", "sound")))
	if err != nil {
		t.Fatal(err)
	}
	newest := newestEvents(t, kit, resp.GetSequence()-1)
	if got := newest[0].GetSender(); !got.GetPlainText() || got.GetClient() != "" || len(got.GetCertificateSha256()) != 0 {
		t.Errorf("the sender is %v", got)
	}
}

// A program that is no tablet is not believed that somebody gave a PIN, nor is its command
// taken as one that comes late: it is refused, and the record sums that up as any refusal.
func TestSender_ThatIsNoTabletIsNotBelievedAPIN(t *testing.T) {
	kit := stationtest.Open(t)
	gate, err := trust.OpenGate(trust.GateOptions{Folder: filepath.Join(t.TempDir(), "trust"), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	served := stationtest.Serve(t, kit.Station, rpc.Options{Gate: gate})
	rounds := pb.NewRoundServiceClient(secured(t, served, trust.OpenWallet(trust.FilesIn(gate.AdministratorFolder()), time.Now)))
	round := kit.RecordAll("vehicles/p1", "routines/shift")
	finish := &pb.FinishRoundRequest{
		RequestId: kit.ID(), Round: round, Shown: &pb.ShownToSigner{},
		Signature: &pb.Signature{
			Person: "people/driver", SignedAs: pb.Role_ROLE_DRIVER, DeviceTime: timestamppb.New(kit.Clock.Now()), Proof: pb.Proof_PROOF_PIN, StatementSha256: make([]byte, 32),
		},
	}
	_, err = rounds.FinishRound(t.Context(), finish)
	if f := (*fault.Fault)(nil); !errors.As(err, &f) || f.Kind != fault.Denied || f.Reason != station.ReasonProof {
		t.Fatalf("the end of a round with a PIN that an administrator's program vouches for: %v", err)
	}
	served.Server.Stop(t.Context())
	events := newestEvents(t, kit, 0)
	told := events[len(events)-1]
	if d := told.GetAccessDenied().GetDenials(); len(d) != 1 || d[0].GetReason() != station.ReasonProof || d[0].GetClient() != "this-machine" || told.GetSender() != nil {
		t.Errorf("the record tells %v", told)
	}
}
