package station_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	"bayround/internal/station"
	"bayround/internal/stationtest"
	pb "bayround/proto/bayround/v1"
)

// sighting is what a device keeps of a station.
type sighting struct {
	checkpoint, key string
}

func seenOf(t testing.TB, k *stationtest.Kit) sighting {
	t.Helper()
	newest, err := k.GetCheckpoint(ctx, &pb.GetCheckpointRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return sighting{newest.GetCheckpoint(), newest.GetVerifierKey()}
}

func (s sighting) open(t testing.TB, checkpoint string) merkle.Checkpoint {
	t.Helper()
	verifier, err := note.NewVerifier(s.key)
	if err != nil {
		t.Fatal(err)
	}
	c, err := merkle.OpenCheckpoint([]byte(checkpoint), verifier)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// demand asks for the proof that a station only grew since it was seen.
func (s sighting) demand(k *stationtest.Kit) (*pb.ProveConsistencyResponse, error) {
	return k.ProveConsistency(ctx, &pb.ProveConsistencyRequest{KnownCheckpoint: s.checkpoint, Device: "tablet-1"})
}

// rolledBack is a station that was set back to a copy of its directory, with what
// a device saw of it, and the record it exported, before.
func rolledBack(t testing.TB) (k *stationtest.Kit, before sighting, parts []*pb.RecordPart) {
	t.Helper()
	k = stationtest.Open(t)
	k.Close()
	copied := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(copied, os.DirFS(k.Dir())); err != nil {
		t.Fatal(err)
	}
	k.Reopen()
	k.OpenRound("vehicles/p1", "routines/shift")
	k.OpenRound("vehicles/p2", "routines/shift")
	before = seenOf(t, k)
	parts, err := exported(k, 0)
	if err != nil {
		t.Fatal(err)
	}
	o := station.Options{Dir: copied, Now: k.Clock.Now, Defaults: stationtest.Small()}
	return stationtest.OpenWith(t, k.Clock, o), before, parts
}

func TestProveConsistency_OfAStationThatGrew(t *testing.T) {
	k := stationtest.Open(t)
	if got, err := (sighting{}).demand(k); err != nil || got.GetCheckpoint() != seenOf(t, k).checkpoint || got.GetProvenEvents() != 0 {
		t.Errorf("of nothing known: %v, %v", got, err)
	}
	var all []sighting
	for range 4 {
		all = append(all, seenOf(t, k))
		k.OpenRound("vehicles/p1", "routines/shift")
	}
	for _, s := range append(all, seenOf(t, k)) {
		got, err := s.demand(k)
		if err != nil {
			t.Fatal(err)
		}
		path, err := merkle.Hashes(got.GetConsistencyPath())
		older, newer := s.open(t, s.checkpoint), s.open(t, got.GetCheckpoint())
		if err != nil || got.GetProvenEvents() != int64(older.Size) || merkle.Grown(older, newer, path) != nil {
			t.Errorf("from %d to %d events: %v, %v", older.Size, newer.Size, got, err)
		}
	}
	foreign := seenOf(t, stationtest.Open(t))
	if _, err := foreign.demand(k); !fault.Is(err, fault.Invalid) || reasonTold(err) != "CHECKPOINT_FOREIGN" {
		t.Errorf("a checkpoint of another station: %v", err)
	}
	if _, err := (sighting{checkpoint: "none"}).demand(k); reasonTold(err) != "CHECKPOINT_FOREIGN" {
		t.Errorf("no checkpoint at all: %v", err)
	}
}

func TestProveConsistency_ARolledBackStationIsBehindAndTakesNothing(t *testing.T) {
	k, before, _ := rolledBack(t)
	if _, err := before.demand(k); !fault.Is(err, fault.Precondition) || reasonTold(err) != "RECORD_BEHIND" {
		t.Errorf("rolled back: %v", err)
	}
	_, err := k.Station.OpenRound(ctx, &pb.OpenRoundRequest{
		Round: "rounds/" + k.ID(), Vehicle: "vehicles/p1", Routine: "routines/shift", Driver: "people/driver", Device: "tablet-1",
	})
	if reasonTold(err) != "RECORD_BEHIND" {
		t.Errorf("a round at a station that is behind: %v", err)
	}
	if _, err := before.demand(k); reasonTold(err) != "RECORD_BEHIND" {
		t.Errorf("asked again: %v", err)
	}
}

func TestProveConsistency_AFork(t *testing.T) {
	k, before, parts := rolledBack(t)
	for range 3 { // it grew differently, beyond what was seen
		k.OpenRound("vehicles/p2", "routines/weekly")
	}
	if _, err := before.demand(k); !fault.Is(err, fault.Lost) || reasonTold(err) != "RECORD_FORKED" {
		t.Errorf("forked: %v", err)
	}
	if _, err := offer(k, "tablet-1", parts); reasonTold(err) != "RECORD_COMPLETE" {
		t.Errorf("a copy offered to a station that is not behind: %v", err)
	}
}

// offer gives a station parts of a record file.
func offer(k *stationtest.Kit, device string, parts []*pb.RecordPart) (*pb.OfferRecordResponse, error) {
	return k.OfferRecord(ctx, func() (*pb.OfferRecordRequest, error) {
		if len(parts) == 0 {
			return nil, io.EOF
		}
		part := parts[0]
		parts = parts[1:]
		return &pb.OfferRecordRequest{Part: part, Device: device}, nil
	})
}

func TestOfferRecord_KeepsTheBestCopyOfEachDevice(t *testing.T) {
	k, before, whole := rolledBack(t)
	if _, err := before.demand(k); reasonTold(err) != "RECORD_BEHIND" {
		t.Fatal(err)
	}
	last := int64(before.open(t, before.checkpoint).Size)
	cut := whole[:len(whole)-2] // without the last command and the seal
	cutTo := last - int64(len(whole[len(whole)-2].GetCommand().GetEvents()))
	for _, tc := range []struct {
		what, device string
		parts        []*pb.RecordPart
		kept         int64
		enough       bool
	}{
		{"a cut copy", "tablet-1", cut, cutTo, false},
		{"a copy of nothing", "tablet-2", whole[:1], 0, false},
		{"a whole copy", "tablet-1", whole, last, true},
		{"a whole copy without its seal", "tablet-3", whole[:len(whole)-1], last, true},
	} {
		got, err := offer(k, tc.device, tc.parts)
		if err != nil || got.GetKeptToSequence() != tc.kept || got.GetEnough() != tc.enough {
			t.Errorf("%s: %v, %v; want up to %d, enough %v", tc.what, got, err, tc.kept, tc.enough)
		}
	}
	if got, err := offer(k, "tablet-1", cut); err != nil || got.GetKeptToSequence() != last || !got.GetEnough() {
		t.Errorf("a worse copy: %v, %v; the one up to %d is kept, and enough", got, err, last)
	}
	f, err := os.Open(filepath.Join(k.Dir(), station.RefillFolder, "tablet-1.record"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if report, err := recordfile.Verify(f); err != nil || int64(report.Last) != last || report.Checkpoint != before.checkpoint {
		t.Errorf("what was kept: %v, %v", report, err)
	}
}

func TestOfferRecord_RefusesWhatIsNotOfThisRecord(t *testing.T) {
	k, before, whole := rolledBack(t)
	if _, err := before.demand(k); reasonTold(err) != "RECORD_BEHIND" {
		t.Fatal(err)
	}
	foreign, err := exported(stationtest.Open(t), 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		what, device, reason string
		parts                []*pb.RecordPart
	}{
		{"of another station", "tablet-1", "RECORD_FOREIGN", foreign},
		{"without a head", "tablet-1", "RECORD_HEADLESS", whole[1:]},
		{"two heads", "tablet-1", "RECORD_UNREADABLE", []*pb.RecordPart{whole[0], whole[0]}},
		{"a command left out", "tablet-1", "RECORD_UNREADABLE", []*pb.RecordPart{whole[0], whole[2]}},
		{"a seal too early", "tablet-1", "RECORD_UNREADABLE", []*pb.RecordPart{whole[0], whole[len(whole)-1]}},
		{"no name", "", "DEVICE_INVALID", whole},
		{"a name that leads elsewhere", "../signer", "DEVICE_INVALID", whole},
	} {
		if _, err := offer(k, tc.device, tc.parts); !fault.Is(err, fault.Invalid) || reasonTold(err) != tc.reason {
			t.Errorf("%s: %v, want %s", tc.what, err, tc.reason)
		}
	}
	left, err := filepath.Glob(filepath.Join(k.Dir(), station.RefillFolder, "*"))
	if err != nil || len(left) != 0 {
		t.Errorf("%v is left of what was refused, %v", left, err)
	}
}

// reasonTold is the reason of a fault; what is none has none.
func reasonTold(err error) string {
	var f *fault.Fault
	if !errors.As(err, &f) {
		return ""
	}
	return f.Reason
}
