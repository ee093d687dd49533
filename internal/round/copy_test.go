package round

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// maker makes the record of an invented station, large commands in it.
type maker struct {
	t      *testing.T
	signer note.Signer
	key    string
	tree   merkle.Edge
	parts  []*pb.RecordPart // of what was made since the last call of stretch
}

func newMaker(t *testing.T) *maker {
	t.Helper()
	secret, key, err := note.GenerateKey(rand.Reader, "bayround/station/skarholm-quay")
	if err != nil {
		t.Fatal(err)
	}
	signer, err := note.NewSigner(secret)
	if err != nil {
		t.Fatal(err)
	}
	m := &maker{t: t, signer: signer, key: key}
	m.head()
	return m
}

func (m *maker) head() {
	m.parts = []*pb.RecordPart{{Part: &pb.RecordPart_Head{Head: &pb.RecordHead{
		Version: 1, JournalId: strings.Repeat("ab", 16), VerifierKey: m.key,
		FirstSequence: int64(m.tree.Size()) + 1, Subtrees: merkle.Bytes(m.tree.Subtrees()),
	}}}}
}

// command makes a command of one event, so many bytes long, at a time.
func (m *maker) command(at time.Time, bytesLong int) {
	m.t.Helper()
	seq := m.tree.Size() + 1
	id := fmt.Sprintf("command-%d", seq)
	record, err := proto.Marshal(&pb.JournalEvent{Sequence: int64(seq), CommandId: id, StationTime: timestamppb.New(at)})
	if err == nil {
		_, err = m.tree.Add(tlog.RecordHash(record))
	}
	if err != nil {
		m.t.Fatal(err)
	}
	m.parts = append(m.parts, &pb.RecordPart{Part: &pb.RecordPart_Command{Command: &pb.RecordCommand{
		CommandId: id, RequestDigest: make([]byte, 32), Receipt: bytes.Repeat([]byte{'r'}, bytesLong),
		Events: []*pb.RecordEvent{{Content: &pb.RecordEvent_Record{Record: record}}},
	}}})
}

// stretch is what a station would export of what was made since the last call.
func (m *maker) stretch() (parts []*pb.RecordPart, s sighting) {
	m.t.Helper()
	root, err := m.tree.Root()
	if err != nil {
		m.t.Fatal(err)
	}
	signed, err := merkle.Checkpoint{Origin: m.signer.Name(), Size: m.tree.Size(), Root: root}.Sign(m.signer)
	if err != nil {
		m.t.Fatal(err)
	}
	parts = append(m.parts, &pb.RecordPart{Part: &pb.RecordPart_Seal{Seal: &pb.RecordSeal{Checkpoint: string(signed)}}})
	m.head()
	return parts, sighting{JournalID: strings.Repeat("ab", 16), VerifierKey: m.key, Checkpoint: string(signed)}
}

// takeAll has a copy take a stretch.
func takeAll(c *recordCopy, parts []*pb.RecordPart, s sighting) error {
	checkpoint, err := c.take(s, func() (*pb.RecordPart, error) {
		part := parts[0]
		parts = parts[1:]
		return part, nil
	})
	if err != nil {
		return err
	}
	if err := c.sync(); err != nil {
		return err
	}
	return c.roll(checkpoint)
}

// The copy is kept in files of some five megabytes, each sealed when the next is
// begun; those that ended more than thirty days before the newest event are dropped.
func TestCopy_RollsAndDropsByTheStationsTime(t *testing.T) {
	m, dir := newMaker(t), t.TempDir()
	c, err := openCopy(dir, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	day := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	for n := range 9 { // a file in five days
		for range 6 {
			m.command(day.AddDate(0, 0, 5*n), 900_000)
		}
		parts, s := m.stretch()
		if err := takeAll(c, parts, s); err != nil {
			t.Fatal(err)
		}
		if n == 4 { // over a restart
			if err := c.close(); err != nil {
				t.Fatal(err)
			}
			if c, err = openCopy(dir, slog.New(slog.DiscardHandler)); err != nil {
				t.Fatal(err)
			}
		}
	}
	m.command(day.AddDate(0, 0, 41), 10)
	parts, s := m.stretch()
	if err := takeAll(c, parts, s); err != nil {
		t.Fatal(err)
	}
	if err := c.close(); err != nil {
		t.Fatal(err)
	}
	names, err := filepath.Glob(filepath.Join(dir, copyFolder, "*"))
	if err != nil {
		t.Fatal(err)
	}
	// The newest of the sealed ones is of day 40: those of days 0 and 5 are gone.
	want := []uint64{13, 19, 25, 31, 37, 43, 49, 55}
	if len(names) != len(want) {
		t.Fatalf("%d files are kept, want those that begin at %v", len(names), want)
	}
	for i, name := range names {
		if filepath.Base(name) != fmt.Sprintf(copyName, want[i]) {
			t.Errorf("%s is kept, want the one from event %d", name, want[i])
		}
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		_, err = recordfile.Verify(f)
		if newest := i == len(names)-1; newest != recordfile.IsCut(err) || !newest && err != nil {
			t.Errorf("%s: %v", name, err)
		}
		_ = f.Close()
	}
}

// What does not go on from the copy, is of another station or was not signed as it
// is, is not taken.
func TestCopy_TakesOnlyWhatGoesOnAndIsSigned(t *testing.T) {
	day := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	for _, tc := range []struct {
		what   string
		change func(parts []*pb.RecordPart, s *sighting) []*pb.RecordPart
	}{
		{"an event left out", func(p []*pb.RecordPart, _ *sighting) []*pb.RecordPart { return append(p[:1:1], p[2:]...) }},
		{"another head", func(p []*pb.RecordPart, _ *sighting) []*pb.RecordPart {
			p[0].GetHead().Subtrees[0][0] ^= 1
			return p
		}},
		{"a checkpoint of before", func(p []*pb.RecordPart, s *sighting) []*pb.RecordPart {
			p[len(p)-1].GetSeal().Checkpoint = s.Checkpoint
			return p
		}},
		{"no head", func(p []*pb.RecordPart, _ *sighting) []*pb.RecordPart { return p[1:] }},
		{"of another station", func(p []*pb.RecordPart, s *sighting) []*pb.RecordPart {
			s.JournalID = strings.Repeat("cd", 16)
			return p
		}},
	} {
		t.Run(tc.what, func(t *testing.T) {
			m := newMaker(t)
			c, err := openCopy(t.TempDir(), slog.New(slog.DiscardHandler))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = c.close() })
			m.command(day, 10)
			parts, s := m.stretch()
			if err := takeAll(c, parts, s); err != nil {
				t.Fatal(err)
			}
			m.command(day, 10)
			m.command(day, 10)
			parts, _ = m.stretch()
			if err := takeAll(c, tc.change(parts, &s), s); err == nil {
				t.Error("it was taken")
			}
		})
	}
}
