package recordfile_test

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/merkle"
	"bayround/internal/recordfile"
	pb "bayround/proto/bayround/v1"
)

// origin is the invented station whose record the tests keep.
const origin = "bayround/station/skarholm-quay"

// keys are a station's.
type keys struct {
	signer note.Signer
	public string
}

func newKeys(t testing.TB) keys {
	t.Helper()
	secret, public, err := note.GenerateKey(rand.Reader, origin)
	must(t, err)
	signer, err := note.NewSigner(secret)
	must(t, err)
	return keys{signer, public}
}

// must ends a test that cannot go on.
func must(t interface {
	Helper()
	Fatal(...any)
}, err error,
) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// content is what a record file holds, to be written.
type content struct {
	keys     keys
	tree     merkle.Edge // of all events
	head     *pb.RecordHead
	commands []*pb.RecordCommand
}

// contentOf makes commands of as many events each, and a head for those behind
// the first before.
func contentOf(t testing.TB, k keys, before int, events ...int) *content {
	t.Helper()
	c := &content{keys: k}
	for n, events := range events {
		if n == before {
			c.begin()
		}
		cmd := &pb.RecordCommand{CommandId: fmt.Sprintf("command-%d", n), RequestDigest: bytes.Repeat([]byte{byte(n)}, 32), Receipt: fmt.Appendf(nil, "receipt %d", n)}
		for range events {
			ev := &pb.JournalEvent{Sequence: int64(c.tree.Size() + 1), CommandId: cmd.GetCommandId(), Device: "tablet-1"}
			if n%3 == 1 && len(cmd.GetApart()) == 0 {
				text := &pb.ApartText{Salt: bytes.Repeat([]byte{7}, 32), Content: []byte("who that is")}
				digest := sha256.Sum256(append(bytes.Clone(text.GetSalt()), text.GetContent()...))
				ev.Event = &pb.JournalEvent_PersonApplied{PersonApplied: &pb.Person{Name: "people/arkwith", Apart: digest[:]}}
				cmd.Apart = append(cmd.Apart, text)
			}
			record, err := proto.Marshal(ev)
			must(t, err)
			kept := &pb.RecordEvent{Content: &pb.RecordEvent_Record{Record: record}}
			leaf := tlog.RecordHash(record)
			if n%4 == 3 {
				kept = &pb.RecordEvent{Content: &pb.RecordEvent_LeafHash{LeafHash: leaf[:]}}
			}
			cmd.Events = append(cmd.Events, kept)
			_, err = c.tree.Add(leaf)
			must(t, err)
		}
		if n%4 == 3 {
			cmd.Apart = nil
		}
		if n >= before {
			c.commands = append(c.commands, cmd)
		}
	}
	if before >= len(events) {
		c.begin()
	}
	return c
}

// begin makes the head of what comes now.
func (c *content) begin() {
	c.head = &pb.RecordHead{
		Version: 1, JournalId: strings.Repeat("0123456789abcdef", 2), VerifierKey: c.keys.public,
		FirstSequence: int64(c.tree.Size() + 1), Subtrees: merkle.Bytes(c.tree.Subtrees()),
	}
}

// checkpoint signs the tree of all events; there is none of no event.
func (c *content) checkpoint(t testing.TB) string {
	t.Helper()
	if c.tree.Size() == 0 {
		return ""
	}
	root, err := c.tree.Root()
	must(t, err)
	signed, err := merkle.Checkpoint{Origin: origin, Size: c.tree.Size(), Root: root}.Sign(c.keys.signer)
	must(t, err)
	return string(signed)
}

// file writes it all.
func (c *content) file(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := recordfile.NewWriter(&b, c.head)
	must(t, err)
	for _, cmd := range c.commands {
		must(t, w.Command(cmd))
	}
	must(t, w.Seal(c.checkpoint(t)))
	if w.Bytes() != int64(b.Len()) || w.Last() != c.tree.Size() {
		t.Errorf("%d bytes up to event %d were written, the writer says %d up to %d", b.Len(), c.tree.Size(), w.Bytes(), w.Last())
	}
	return b.Bytes()
}

// read reads commands until an error, which is io.EOF at a good end.
func read(file []byte) (r *recordfile.Reader, commands []*pb.RecordCommand, err error) {
	r, err = recordfile.NewReader(bytes.NewReader(file))
	for err == nil {
		var cmd *pb.RecordCommand
		if cmd, err = r.Next(); err == nil {
			commands = append(commands, cmd)
		}
	}
	return r, commands, err
}

// drawn draws the content of a file.
func drawn(t testing.TB, rt *rapid.T, k keys) *content {
	t.Helper()
	events := rapid.SliceOfN(rapid.IntRange(1, 4), 0, 9).Draw(rt, "events by command")
	return contentOf(t, k, rapid.IntRange(0, len(events)).Draw(rt, "commands before"), events...)
}

func TestReader_GivesBackWhatWasWritten(t *testing.T) {
	k := newKeys(t)
	rapid.Check(t, func(rt *rapid.T) {
		want := drawn(t, rt, k)
		r, got, err := read(want.file(t))
		if !errors.Is(err, io.EOF) {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(want.commands, got, protocmp.Transform()); diff != "" {
			rt.Errorf("commands (-written +read):\n%s", diff)
		}
		if diff := cmp.Diff(want.head, r.Head(), protocmp.Transform()); diff != "" {
			rt.Errorf("head (-written +read):\n%s", diff)
		}
		root, err := want.tree.Root()
		must(rt, err)
		if read, err := r.Root(); read != root || err != nil || r.Last() != want.tree.Size() || r.Seal().GetCheckpoint() == "" != (r.Last() == 0) {
			rt.Errorf("read up to event %d, root %v, %v, seal %v; want %d, %v", r.Last(), read, err, r.Seal(), want.tree.Size(), root)
		}
	})
}

// spoil changes a file in one of the ways that damage or a hand may.
func spoil(rt *rapid.T, file []byte) (spoilt []byte, how string) {
	at := rapid.IntRange(0, len(file)-1).Draw(rt, "at")
	to := min(len(file), at+rapid.IntRange(1, 100).Draw(rt, "length"))
	switch how = rapid.SampledFrom([]string{"flip", "cut", "remove", "repeat", "insert", "swap", "append"}).Draw(rt, "how"); how {
	case "flip":
		spoilt = bytes.Clone(file)
		spoilt[at] ^= 1 << rapid.IntRange(0, 7).Draw(rt, "bit")
	case "cut":
		spoilt = bytes.Clone(file[:at])
	case "remove":
		spoilt = append(bytes.Clone(file[:at]), file[to:]...)
	case "repeat":
		spoilt = append(bytes.Clone(file[:to]), file[at:]...)
	case "insert":
		b := rapid.SliceOfN(rapid.Byte(), 1, 8).Draw(rt, "bytes")
		spoilt = append(append(bytes.Clone(file[:at]), b...), file[at:]...)
	case "swap":
		spoilt = bytes.Clone(file)
		half := (to - at) / 2
		copy(spoilt[at:], file[at+half:at+2*half])
		copy(spoilt[at+half:], file[at:at+half])
	case "append":
		spoilt = append(bytes.Clone(file), rapid.SliceOfN(rapid.Byte(), 1, 8).Draw(rt, "bytes")...)
	}
	return spoilt, how
}

// G17 of the reliability goals: a thousand mutations of a file, all found.
func TestReader_FindsAnythingThatWasChanged(t *testing.T) {
	k := newKeys(t)
	files := [][]byte{
		contentOf(t, k, 0, 1, 2, 1, 3, 1).file(t), contentOf(t, k, 2, 3, 4, 1, 1, 2, 2).file(t),
		contentOf(t, k, 3, 1, 1, 1).file(t), contentOf(t, k, 0).file(t),
	}
	mutations := 0
	for range 10 {
		rapid.Check(t, func(rt *rapid.T) {
			file := rapid.SampledFrom(files).Draw(rt, "file")
			spoilt, how := spoil(rt, file)
			if bytes.Equal(spoilt, file) {
				return // two equal halves swapped
			}
			mutations++
			_, _, err := read(spoilt)
			if err == nil || errors.Is(err, io.EOF) {
				rt.Errorf("%s: nothing was found", how)
			}
			if how == "cut" && !recordfile.IsCut(err) {
				rt.Errorf("a cut file is said to be something else: %v", err)
			}
			if report, err := recordfile.Verify(bytes.NewReader(spoilt)); err == nil {
				rt.Errorf("%s: Verify finds %v", how, report)
			}
		})
	}
	if mutations < 900 && !t.Failed() {
		t.Errorf("only %d files were changed", mutations)
	}
}

// What a hand changes that also makes the seal's SHA-256 anew.
func TestReader_FindsWhatWasSealedAnew(t *testing.T) {
	k := newKeys(t)
	sound := func() *content { return contentOf(t, k, 1, 2, 1, 2, 1, 2) }
	// forge writes a file past the writer, which would refuse it.
	forge := func(c *content, checkpoint string) []byte { return forged(t, c, checkpoint) }
	if _, _, err := read(forge(sound(), sound().checkpoint(t))); !errors.Is(err, io.EOF) {
		t.Fatalf("the forger cannot even copy: %v", err)
	}
	for _, tc := range []struct {
		what   string
		change func(*content)
		where  string
	}{
		{"an event changed", func(c *content) {
			record, err := proto.Marshal(&pb.JournalEvent{Sequence: 4, CommandId: "command-2", Device: "tablet-2"})
			must(t, err)
			c.commands[1].Events[0] = &pb.RecordEvent{Content: &pb.RecordEvent_Record{Record: record}}
		}, "somewhere from event 3 to 8"},
		{"an event removed", func(c *content) { c.commands[1].Events = c.commands[1].Events[1:] }, "at event 4"},
		{"two events swapped", func(c *content) {
			ev := c.commands[1].Events
			ev[0], ev[1] = ev[1], ev[0]
		}, "at event 4"},
		{"two commands swapped", func(c *content) { c.commands[0], c.commands[1] = c.commands[1], c.commands[0] }, "at event 3"},
		{"the last command removed", func(c *content) { c.commands = c.commands[:3] }, "in its seal"},
		{"a command twice", func(c *content) { c.commands = append(c.commands, c.commands[3]) }, "at event 9"},
		{"a command under another id", func(c *content) { c.commands[1].CommandId = "command-9" }, "at event 4"},
		{"a command without a digest", func(c *content) { c.commands[1].RequestDigest = nil }, "at event 4"},
		{"a dropped event's hash changed", func(c *content) { c.commands[2].Events[0].GetLeafHash()[3] ^= 1 }, "somewhere from event 3 to 8"},
		{"a text that was kept apart changed", func(c *content) { c.commands[0].Apart[0].Content = []byte("somebody else") }, "at event 3"},
		{"a text put to another command", func(c *content) { c.commands[1].Apart = c.commands[0].GetApart() }, "at event 4"},
		{"a subtree changed", func(c *content) { c.head.Subtrees[0][0] ^= 1 }, "somewhere from event 3 to 8"},
		{"a subtree left out", func(c *content) { c.head.Subtrees = nil }, "in its head"},
		{"the key of another", func(c *content) { c.head.VerifierKey = newKeys(t).public }, "in its seal"},
		{"it begins elsewhere", func(c *content) { c.head.FirstSequence += 2 }, "at event 5"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			c := sound()
			checkpoint := c.checkpoint(t)
			tc.change(c)
			_, _, err := read(forge(c, checkpoint))
			if !fault.Is(err, fault.Lost) || !strings.Contains(err.Error(), tc.where) {
				t.Errorf("%v; want that it breaks %s", err, tc.where)
			}
		})
	}
}

func TestWriter_RefusesWhatAReaderWould(t *testing.T) {
	k := newKeys(t)
	c := contentOf(t, k, 0, 1, 1, 1)
	var b bytes.Buffer
	w, err := recordfile.NewWriter(&b, c.head)
	must(t, err)
	must(t, w.Command(c.commands[0]))
	before := b.Len()
	if err := w.Command(c.commands[2]); !fault.Is(err, fault.Lost) {
		t.Errorf("a command out of order: %v", err)
	}
	if err := w.Seal(c.checkpoint(t)); !fault.Is(err, fault.Lost) {
		t.Errorf("a checkpoint of more events: %v", err)
	}
	large := proto.CloneOf(c.commands[1])
	large.Receipt = make([]byte, 1<<20)
	if err := w.Command(large); !fault.Is(err, fault.Invalid) {
		t.Errorf("a command that is too large: %v", err)
	}
	if b.Len() != before {
		t.Errorf("%d bytes were written of what was refused", b.Len()-before)
	}
	must(t, w.Command(c.commands[1]))
	must(t, w.Command(c.commands[2]))
	must(t, w.Seal(c.checkpoint(t)))
	if w.Command(c.commands[2]) == nil || w.Seal(c.checkpoint(t)) == nil {
		t.Error("something was written behind the seal")
	}
	if _, _, err := read(b.Bytes()); !errors.Is(err, io.EOF) {
		t.Errorf("what is left is no good file: %v", err)
	}
}

func TestReader_ANewerVersionIsRefused(t *testing.T) {
	c := contentOf(t, newKeys(t), 0, 1)
	c.head.Version = 2
	if _, _, err := read(forged(t, c, c.checkpoint(t))); !fault.Is(err, fault.Precondition) {
		t.Errorf("%v", err)
	}
}

// A file may be cut anywhere; what stands before the cut can be gone on from.
func TestResume_GoesOnBehindAnyCut(t *testing.T) {
	k := newKeys(t)
	c := contentOf(t, k, 1, 1, 2, 1, 3, 1)
	whole := c.file(t)
	cuts := 0
	for at := range whole {
		r, got, err := read(whole[:at])
		if !recordfile.IsCut(err) {
			t.Fatalf("cut at byte %d: %v", at, err)
		}
		if r == nil {
			continue // before the head was whole
		}
		b := bytes.NewBuffer(bytes.Clone(whole[:r.Whole()]))
		w, err := r.Resume(b)
		must(t, err)
		for _, cmd := range c.commands[len(got):] {
			must(t, w.Command(cmd))
		}
		must(t, w.Seal(c.checkpoint(t)))
		if !bytes.Equal(b.Bytes(), whole) {
			t.Fatalf("cut at byte %d and gone on with, it is another file", at)
		}
		cuts++
	}
	if cuts < 100 {
		t.Errorf("only %d cuts were gone on from", cuts)
	}
}

// The next file's head is what its reader needs.
func TestWriter_FollowingBeginsWhereItEnds(t *testing.T) {
	k := newKeys(t)
	all := contentOf(t, k, 0, 1, 2, 1, 3, 1)
	w, err := recordfile.NewWriter(io.Discard, all.head)
	must(t, err)
	for n, cmd := range all.commands {
		want := contentOf(t, k, n, 1, 2, 1, 3, 1).head
		if diff := cmp.Diff(want, w.Following(), protocmp.Transform()); diff != "" {
			t.Errorf("head after %d commands (-want +got):\n%s", n, diff)
		}
		must(t, w.Command(cmd))
	}
}
