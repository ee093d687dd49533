package journal

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"bayround/internal/fault"
	"bayround/internal/merkle"
)

// keeper is a journal with what was appended to it.
type keeper struct {
	j    *Journal
	want []Stored // commands with events, in order
	n    int      // commands so far
}

// append appends a command of some events.
func (k *keeper) append(t testing.TB, events int) {
	t.Helper()
	k.n++
	// Ids that do not sort as they come.
	c := Command{ID: fmt.Sprintf("%x-%d", 7*k.n%16, k.n), Digest: [32]byte{byte(k.n)}}
	s := Stored{Command: c, Receipt: fmt.Appendf(nil, "receipt %d", k.n), First: k.j.Size() + 1}
	entry := Entry{Receipt: s.Receipt}
	for i := range events {
		record := bytes.Repeat([]byte{byte(k.n)}, i) // the first is empty
		entry.Events = append(entry.Events, record)
		s.Events = append(s.Events, StoredEvent{Record: record, Leaf: tlog.RecordHash(record)})
	}
	if _, err := k.j.Append(context.Background(), c, always(entry)); err != nil {
		t.Fatal(err)
	}
	if len(s.Events) > 0 {
		k.want = append(k.want, s)
	}
}

// read says how the stretch from an event on differs from what was appended.
func (k *keeper) read(from uint64) (difference string, err error) {
	var want, got []Stored
	for _, s := range k.want {
		if s.Last() >= max(from, 1) {
			want = append(want, s)
		}
	}
	err = k.j.Commands(context.Background(), from, func(s Stored) error {
		got = append(got, s)
		return nil
	})
	return cmp.Diff(want, got), err
}

// root continues the tree from the subtrees before an event.
func (k *keeper) root(before uint64) (tlog.Hash, error) {
	subtrees, err := k.j.Subtrees(before)
	if err != nil {
		return tlog.Hash{}, err
	}
	e, err := merkle.EdgeOf(max(before, 1)-1, subtrees)
	if err != nil {
		return tlog.Hash{}, fmt.Errorf("the subtrees before event %d: %w", before, err)
	}
	for _, s := range k.want {
		for i, event := range s.Events {
			if s.First+uint64(i) <= e.Size() {
				continue
			}
			if _, err := e.Add(event.Leaf); err != nil {
				return tlog.Hash{}, err
			}
		}
	}
	return e.Root()
}

func TestCommands_GiveBackWhatWasAppended(t *testing.T) {
	dir := t.TempDir()
	k := &keeper{j: open(t, dir)}
	for n, events := range []int{1, 0, 2, 1, 5, 0, 1, 3, 1, 1, 2, 7, 0, 1} {
		k.append(t, events)
		if n == 7 { // what is known of the order must be found anew
			mustClose(t, k.j)
			k.j = open(t, dir)
		}
		if n%3 == 0 { // and go on from what was known
			if difference, err := k.read(k.j.Size()); difference != "" || err != nil {
				t.Fatalf("after %d commands: %v (-appended +stored):\n%s", n+1, err, difference)
			}
		}
	}
	signed, err := openCheckpoint(k.j.Checkpoint(), k.j.verifier)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.Uint64Range(0, k.j.Size()+1).Draw(t, "from")
		if difference, err := k.read(from); difference != "" || err != nil {
			t.Fatalf("commands from event %d: %v (-appended +stored):\n%s", from, err, difference)
		}
		if root, err := k.root(from); root != signed.Root || err != nil {
			t.Fatalf("continued from the subtrees before event %d: root %v, signed is %v; %v", from, root, signed.Root, err)
		}
	})
}

func TestCommands_AnErrorOfYieldEndsThem(t *testing.T) {
	j := open(t, t.TempDir())
	for n := range 3 {
		put(t, j, fmt.Sprint(n), []string{"event"})
	}
	enough := errors.New("enough")
	calls := 0
	err := j.Commands(context.Background(), 1, func(Stored) error { calls++; return enough })
	if err != enough || calls != 1 { //nolint:errorlint // unchanged is what is promised
		t.Errorf("%v after %d calls, want the error of yield after one", err, calls)
	}
}

func TestCommands_DamageIsFound(t *testing.T) {
	for _, tc := range []struct {
		what   string
		tamper func(tampering)
		reason string
		good   int // commands before the trouble
	}{
		{"a receipt removed", func(m tampering) { m.remove(commandKey("command 3")) }, "RECEIPT_MISSING", 2},
		{"the first receipt removed", func(m tampering) { m.remove(commandKey("command 1")) }, "RECEIPT_MISSING", 0},
		{"the last receipt removed", func(m tampering) { m.remove(commandKey("command 7")) }, "RECEIPT_MISSING", 6},
		{"a receipt that claims more", func(m tampering) {
			m.receipt("command 3", func(r *storedReceipt) { r.last++ })
		}, "RECEIPT_MISSING", 3},
		{"an event removed", func(m tampering) { m.remove(eventKey(7)) }, "EVENT_MISSING", 2},
		{"an event changed", func(m tampering) { m.flip(eventKey(7)) }, "EVENT_CHANGED", 2},
	} {
		t.Run(tc.what, func(t *testing.T) {
			j, err := tryOpen(tamperedJournal(t, tc.tamper))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = j.Close() })
			good := 0
			err = j.Commands(context.Background(), 1, func(Stored) error { good++; return nil })
			if !fault.Is(err, fault.Lost) || !hasReason(err, tc.reason) || good != tc.good {
				t.Errorf("%d commands, then %v; want %d, then %s", good, err, tc.good, tc.reason)
			}
		})
	}
}
