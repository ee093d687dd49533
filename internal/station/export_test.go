package station_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// exported returns the parts of the record from an event on.
func exported(k *stationtest.Kit, first int64) (parts []*pb.RecordPart, err error) {
	err = k.ExportRecord(ctx, &pb.ExportRecordRequest{FirstSequence: first}, func(m *pb.ExportRecordResponse) error {
		parts = append(parts, proto.CloneOf(m.GetPart()))
		return nil
	})
	return parts, err
}

// received makes a file of parts.
func received(parts []*pb.RecordPart) (file []byte, err error) {
	var b bytes.Buffer
	err = recordfile.Receive(&b, func() (*pb.RecordPart, error) {
		if len(parts) == 0 {
			return nil, io.EOF
		}
		part := parts[0]
		parts = parts[1:]
		return part, nil
	})
	return b.Bytes(), err
}

func TestExportRecord_IsTheRecordFromAnyEventOn(t *testing.T) {
	k := stationtest.Open(t)
	k.RecordAll("vehicles/p1", "routines/shift")
	var want [][]byte
	var commands []string
	err := k.Follow(ctx, &pb.FollowRequest{StopAtEnd: true, IncludeRecords: true}, func(m *pb.FollowResponse) error {
		want = append(want, m.GetEvents().GetRecords()...)
		for _, ev := range m.GetEvents().GetEvents() {
			commands = append(commands, ev.GetCommandId())
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		first := rapid.IntRange(0, len(want)+1).Draw(t, "first")
		parts, err := exported(k, int64(first))
		if err != nil {
			t.Fatal(err)
		}
		begins := max(first, 1)
		for begins <= len(want) && begins > 1 && commands[begins-2] == commands[begins-1] {
			begins-- // in the middle of a command
		}
		if head := parts[0].GetHead(); head.GetFirstSequence() != int64(begins) {
			t.Fatalf("asked from event %d: it begins at %d, want %d", first, head.GetFirstSequence(), begins)
		}
		var got [][]byte
		for _, part := range parts {
			for _, ev := range part.GetCommand().GetEvents() {
				got = append(got, ev.GetRecord())
			}
		}
		if !slices.EqualFunc(got, want[begins-1:], bytes.Equal) {
			t.Fatalf("asked from event %d: %d events, want those from %d to %d", first, len(got), begins, len(want))
		}
		file, err := received(parts)
		if err != nil {
			t.Fatal(err)
		}
		if report, err := recordfile.Verify(bytes.NewReader(file)); err != nil || report.Last != uint64(len(want)) {
			t.Fatalf("the file: %v, %v", report, err)
		}
	})
	if _, err := exported(k, int64(len(want)+2)); !fault.Is(err, fault.OutOfRange) {
		t.Errorf("asked from beyond the end: %v", err)
	}
}

func TestExport_OfAStoppedStationIsTheSame(t *testing.T) {
	for _, defaults := range []bool{true, false} { // a record, and an empty one
		o := station.Options{Dir: t.TempDir()}
		if defaults {
			o.Defaults = stationtest.Small()
		}
		k := stationtest.OpenWith(t, nil, o)
		parts, err := exported(k, 0)
		if err != nil {
			t.Fatal(err)
		}
		want, err := received(parts)
		if err != nil {
			t.Fatal(err)
		}
		if err := station.Export(ctx, k.Dir(), 0, &bytes.Buffer{}, slog.New(slog.DiscardHandler)); !fault.Is(err, fault.Unavailable) {
			t.Errorf("of a station that runs: %v", err)
		}
		k.Close()
		var got bytes.Buffer
		if err := station.Export(ctx, k.Dir(), 0, &got, nil); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got.Bytes(), want) {
			t.Errorf("%d bytes, from the station that ran %d", got.Len(), len(want))
		}
		k.Reopen()
	}
}

func TestExportRecord_EndsWithItsReaderAndWithTheStation(t *testing.T) {
	k := stationtest.Open(t)
	k.OpenRound("vehicles/p1", "routines/shift") // a second command
	ctx, cancel := context.WithCancel(ctx)
	err := k.ExportRecord(ctx, &pb.ExportRecordRequest{}, func(m *pb.ExportRecordResponse) error {
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("the reader went away: %v", err)
	}
	err = k.ExportRecord(context.Background(), &pb.ExportRecordRequest{}, func(m *pb.ExportRecordResponse) error {
		k.Close() // does not wait for its readers
		return nil
	})
	if !fault.Is(err, fault.Unavailable) {
		t.Errorf("the station was closed meanwhile: %v", err)
	}
	k.Reopen()
}

func TestProveInclusion_OfEveryEventAndNoOther(t *testing.T) {
	k := stationtest.Open(t)
	k.OpenRound("vehicles/p1", "routines/shift")
	newest, err := k.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if err != nil {
		t.Fatal(err)
	}
	verifier, err := note.NewVerifier(newest.GetVerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	signed, err := merkle.OpenCheckpoint([]byte(newest.GetCheckpoint()), verifier)
	if err != nil {
		t.Fatal(err)
	}
	for seq := int64(1); seq <= int64(signed.Size); seq++ {
		got, err := k.ProveInclusion(ctx, &pb.ProveInclusionRequest{Sequence: seq})
		if err != nil {
			t.Fatal(err)
		}
		path, err := merkle.Hashes(got.GetAuditPath())
		if err != nil || got.GetCheckpoint() != newest.GetCheckpoint() {
			t.Fatalf("event %d: %v, against %q", seq, err, got.GetCheckpoint())
		}
		leaf := tlog.RecordHash(got.GetRecord())
		if !bytes.Equal(got.GetLeafHash(), leaf[:]) {
			t.Errorf("event %d: its leaf hash is not that of its record", seq)
		}
		if err := tlog.CheckRecord(path, int64(signed.Size), signed.Root, seq-1, leaf); err != nil {
			t.Errorf("event %d: %v", seq, err)
		}
		if err := tlog.CheckRecord(path, int64(signed.Size), signed.Root, seq%int64(signed.Size), leaf); err == nil && signed.Size > 1 {
			t.Errorf("event %d is proven to be another", seq)
		}
	}
	if _, err := k.ProveInclusion(ctx, &pb.ProveInclusionRequest{Sequence: int64(signed.Size) + 1}); !fault.Is(err, fault.NotFound) {
		t.Errorf("beyond the end: %v", err)
	}
	k.OpenRound("vehicles/p2", "routines/shift")
	older := &pb.ProveInclusionRequest{Sequence: 1, TreeSize: int64(signed.Size)}
	got, err := k.ProveInclusion(ctx, older)
	if err != nil {
		t.Fatal(err)
	}
	path, err := merkle.Hashes(got.GetAuditPath())
	if err != nil || tlog.CheckRecord(path, older.GetTreeSize(), signed.Root, 0, tlog.RecordHash(got.GetRecord())) != nil {
		t.Errorf("against a checkpoint that is the newest no more: %v", err)
	}
	for _, req := range []*pb.ProveInclusionRequest{{Sequence: older.GetTreeSize() + 1, TreeSize: older.GetTreeSize()}, {Sequence: 1, TreeSize: older.GetTreeSize() + 2}} {
		if _, err := k.ProveInclusion(ctx, req); !fault.Is(err, fault.NotFound) {
			t.Errorf("event %d in a tree of %d: %v", req.GetSequence(), req.GetTreeSize(), err)
		}
	}
}
