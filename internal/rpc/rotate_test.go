package rpc_test

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"

	"bayround/internal/fault"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	"bayround/internal/trust"
	pb "bayround/proto/bayround/v1"
)

// asks makes a call on a connection of its own.
func asks(t *testing.T, served *stationtest.Served, w *trust.Wallet) error {
	t.Helper()
	_, err := pb.NewReadinessServiceClient(secured(t, served, w)).ListReadiness(t.Context(), &pb.ListReadinessRequest{})
	return err
}

// A station's authority is replaced while it serves: the tablet that is in touch is renewed
// by the flow that always renews it, the one that sleeps is told that it must enrol again,
// does so with a code, in its old folder, and calls; and the record tells all of it.
func TestRotateAuthority_OverTheWire(t *testing.T) {
	kit := stationtest.Open(t)
	gate, err := trust.OpenGate(trust.GateOptions{Folder: filepath.Join(t.TempDir(), "trust"), Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	served := stationtest.Serve(t, kit.Station, rpc.Options{Gate: gate})
	asleepIn := t.TempDir()
	awake, asleep := enrolled(t, served, gate, "tablet-1"), enrolledInto(t, served, gate, "tablet-2", asleepIn)
	admin := func() pb.EnrolServiceClient { // whose identity is another one after each step
		return pb.NewEnrolServiceClient(secured(t, served, trust.OpenWallet(trust.FilesIn(gate.AdministratorFolder()), time.Now)))
	}
	before := int64(len(newestEvents(t, kit, 0)))
	if _, err := admin().RotateAuthority(t.Context(), &pb.RotateAuthorityRequest{Overlap: durationpb.New(time.Hour)}); err != nil {
		t.Fatal(err)
	}
	conn := secured(t, served, awake)
	if _, err := pb.NewReadinessServiceClient(conn).ListReadiness(t.Context(), &pb.ListReadinessRequest{}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	rpc.KeepRenewed(ctx, onceCalled{conn, cancel}, awake, slog.New(slog.DiscardHandler), time.Hour)
	state, err := admin().GetAuthority(t.Context(), &pb.GetAuthorityRequest{})
	if err != nil || len(state.GetState().GetWaiting()) != 1 || state.GetState().GetWaiting()[0].GetName() != "tablet-2" {
		t.Fatalf("not renewed: %v, %v", state, err)
	}
	if _, err := admin().RetireAuthority(t.Context(), &pb.RetireAuthorityRequest{LeaveOut: true}); err != nil {
		t.Fatal(err)
	}
	if err := asks(t, served, awake); err != nil {
		t.Errorf("renewed: %v", err)
	}
	if f := (*fault.Fault)(nil); !errors.As(asks(t, served, asleep), &f) || f.Reason != "STATION_FOREIGN" {
		t.Errorf("who slept: %v", f)
	}
	if err := asks(t, served, enrolledInto(t, served, gate, "tablet-2", asleepIn)); err != nil {
		t.Errorf("enrolled again: %v", err)
	}
	if err := asks(t, served, asleep); err != nil { // the same folder, read anew
		t.Errorf("the program that was running meanwhile: %v", err)
	}
	var told []string
	for _, ev := range newestEvents(t, kit, before) {
		switch e := ev.GetEvent().(type) {
		case *pb.JournalEvent_AuthorityRotated:
			told = append(told, "rotated by "+e.AuthorityRotated.GetBy()+" "+ev.GetSender().GetClient())
		case *pb.JournalEvent_AuthorityRetired:
			told = append(told, "retired without "+e.AuthorityRetired.GetLeftOut()[0])
		case *pb.JournalEvent_ClientRenewed:
			told = append(told, "renewed "+e.ClientRenewed.GetClient().GetName())
		case *pb.JournalEvent_ClientAdmitted:
			told = append(told, "admitted "+e.ClientAdmitted.GetClient().GetName())
		}
	}
	want := []string{"rotated by this-machine this-machine", "renewed tablet-1", "retired without tablet-2", "admitted tablet-2"}
	if !slices.Equal(told, want) {
		t.Errorf("the record tells %q, want %q", told, want)
	}
	served.Server.Stop(t.Context())
	kit.Reopen() // and is read again with all of it
}

// onceCalled is a connection on which one call is made.
type onceCalled struct {
	grpc.ClientConnInterface
	called func()
}

// Invoke makes it.
func (o onceCalled) Invoke(ctx context.Context, method string, req, resp any, options ...grpc.CallOption) error {
	defer o.called()
	return o.ClientConnInterface.Invoke(ctx, method, req, resp, options...)
}
