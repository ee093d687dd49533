package rpc_test

import (
	"bytes"
	"io"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"bayround/internal/fault"
	"bayround/internal/recordfile"
	"bayround/internal/rpc"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// partsOf gives the parts of a stream one by one.
func partsOf(stream pb.JournalService_ExportRecordClient) func() (*pb.RecordPart, error) {
	return func() (*pb.RecordPart, error) {
		m, err := stream.Recv()
		return m.GetPart(), err
	}
}

func TestExportRecord_ComesWholeOverTheWire(t *testing.T) {
	kit, conn := served(t, rpc.Options{})
	kit.RecordAll("vehicles/p1", "routines/shift")
	stream, err := pb.NewJournalServiceClient(conn).ExportRecord(t.Context(), &pb.ExportRecordRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := recordfile.Receive(&b, partsOf(stream)); err != nil {
		t.Fatal(err)
	}
	report, err := recordfile.Verify(&b)
	if newest := kit.Readiness("vehicles/p1").GetSequence(); err != nil || int64(report.Last) < newest {
		t.Errorf("%v, %v; want events up to %d", report, err, newest)
	}
	stream, err = pb.NewJournalServiceClient(conn).ExportRecord(t.Context(), &pb.ExportRecordRequest{FirstSequence: int64(report.Last) + 2})
	if err == nil {
		_, err = stream.Recv()
	}
	if !fault.Is(err, fault.OutOfRange) {
		t.Errorf("from beyond the end: %v", err)
	}
}

// A reader that hangs is let go, and told how to go on; nobody waited for it.
func TestExportRecord_AReaderThatHangsIsLetGo(t *testing.T) {
	over := make(chan struct{})
	log := hears{slog.DiscardHandler, "nothing was taken from this stream", sync.OnceFunc(func() { close(over) })}
	kit, conn := served(t, rpc.Options{Patience: 100 * time.Millisecond, Logger: slog.New(log)})
	round := kit.OpenRound("vehicles/p1", "routines/shift")
	for range 300 { // more than any window holds
		seen := stationtest.Seen("GLA-010/windscreen", "01")
		seen.Note = strings.Repeat("much to say ", 80)
		kit.Record(round, seen)
	}
	stream, err := pb.NewJournalServiceClient(conn).ExportRecord(t.Context(), &pb.ExportRecordRequest{})
	if err != nil {
		t.Fatal(err)
	}
	<-over // nobody has read anything
	err = recordfile.Receive(io.Discard, partsOf(stream))
	if !fault.Is(err, fault.Unavailable) || !strings.Contains(err.Error(), "export again from event ") {
		t.Errorf("the stream ended with %v", err)
	}
}

// A station that is not behind takes no copy, and says so at once.
func TestOfferRecord_OverTheWire(t *testing.T) {
	_, conn := served(t, rpc.Options{})
	stream, err := pb.NewJournalServiceClient(conn).OfferRecord(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// An error of Send is io.EOF; the answer knows why.
	_ = stream.Send(&pb.OfferRecordRequest{Part: &pb.RecordPart{}, Device: "tablet-1"})
	_, err = stream.CloseAndRecv()
	requireFault(t, "not behind", err, fault.Precondition, "RECORD_COMPLETE")
}

func TestProveConsistency_OverTheWire(t *testing.T) {
	_, conn := served(t, rpc.Options{})
	journal := pb.NewJournalServiceClient(conn)
	newest, err := journal.GetCheckpoint(t.Context(), &pb.GetCheckpointRequest{})
	if err != nil {
		t.Fatal(err)
	}
	got, err := journal.ProveConsistency(t.Context(), &pb.ProveConsistencyRequest{KnownCheckpoint: newest.GetCheckpoint(), Device: "tablet-1"})
	if err != nil || got.GetCheckpoint() != newest.GetCheckpoint() {
		t.Errorf("%v, %v", got, err)
	}
	_, err = journal.ProveConsistency(t.Context(), &pb.ProveConsistencyRequest{KnownCheckpoint: "somebody's"})
	requireFault(t, "somebody's checkpoint", err, fault.Invalid, "CHECKPOINT_FOREIGN")
}
