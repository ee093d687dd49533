package journal

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// tampering is what a hand with access to the disk does to a closed journal.
type tampering struct {
	t   testing.TB
	txn *badger.Txn
	old []byte // the signed head when there were 12 events
}

func (m tampering) get(key []byte) []byte {
	m.t.Helper()
	value, err := getIn(m.txn, key)
	if err != nil || value == nil {
		m.t.Fatalf("nothing under %q: %v", key, err)
	}
	return value
}

func (m tampering) set(key, value []byte) {
	m.t.Helper()
	if err := m.txn.Set(key, value); err != nil {
		m.t.Fatal(err)
	}
}

func (m tampering) remove(key []byte) {
	m.t.Helper()
	m.get(key)
	if err := m.txn.Delete(key); err != nil {
		m.t.Fatal(err)
	}
}

// flip changes one bit in the middle of a value.
func (m tampering) flip(key []byte) {
	m.t.Helper()
	value := m.get(key)
	value[len(value)/2] ^= 1
	m.set(key, value)
}

// change makes event 7 another one and mends the hashes of the first levels.
func (m tampering) change(levels int) {
	m.t.Helper()
	tree, err := loadEdge(6, storedHashes(m.txn))
	if err != nil {
		m.t.Fatal(err)
	}
	for seq := uint64(7); seq <= tamperedEvents; seq++ {
		event := m.get(eventKey(seq))
		if seq == 7 {
			event = []byte("another event 7")
			m.set(eventKey(7), event)
		}
		hashes, err := tree.Add(tlog.RecordHash(event))
		if err != nil {
			m.t.Fatal(err)
		}
		for level, hash := range hashes[:min(len(hashes), levels)] {
			m.set(hashKey(tlog.StoredHashIndex(0, int64(seq-1))+int64(level)), hash[:])
		}
	}
}

// receipt changes the receipt of a command.
func (m tampering) receipt(id string, change func(*storedReceipt)) {
	m.t.Helper()
	r, err := decodeReceipt(m.get(commandKey(id)))
	if err != nil {
		m.t.Fatal(err)
	}
	change(&r)
	m.set(commandKey(id), r.encode())
}

const tamperedEvents = 20

// tamperedJournal makes a journal of 20 events, closes it, and tampers with it.
func tamperedJournal(t *testing.T, tamper func(tampering)) (dir string) {
	t.Helper()
	dir = t.TempDir()
	j := open(t, dir)
	var old []byte
	for n := uint64(1); j.Size() < tamperedEvents; n++ {
		id := fmt.Sprintf("command %d", n)
		events := []string{"first of " + id, "second of " + id}
		if n%2 == 0 {
			events = append(events, "", "fourth of "+id) // 2, 4, 2, 4, ...
		}
		put(t, j, id, events[:min(uint64(len(events)), tamperedEvents-j.Size())], row("row", id))
		if j.Size() == 12 {
			old = j.Checkpoint()
		}
	}
	mustClose(t, j)
	tampered(t, dir, func(m tampering) {
		m.old = old
		tamper(m)
	})
	return dir
}

// tampered changes a journal that is closed.
func tampered(t *testing.T, dir string, tamper func(tampering)) {
	t.Helper()
	db, err := badger.Open(Options{Dir: dir}.badger())
	if err != nil {
		t.Fatal(err)
	}
	err = db.Update(func(txn *badger.Txn) error {
		tamper(tampering{t: t, txn: txn})
		return nil
	})
	if err = errors.Join(err, db.Close()); err != nil {
		t.Fatal(err)
	}
}

// forge signs the 20 events anew with a key of another origin or of the same
// name.
func (m tampering) forge(name string) []byte {
	secret, _, err := note.GenerateKey(rand.Reader, name)
	if err != nil {
		m.t.Fatal(err)
	}
	signer, err := note.NewSigner(secret)
	if err != nil {
		m.t.Fatal(err)
	}
	text, _, _ := strings.Cut(string(m.get([]byte(headKey))), "\n\n")
	signed, err := note.Sign(&note.Note{Text: text + "\n"}, signer)
	if err != nil {
		m.t.Fatal(err)
	}
	return signed
}

func TestVerify_CleanJournal(t *testing.T) {
	dir := tamperedJournal(t, func(tampering) {})
	j := open(t, dir)
	_, signed, _ := strings.Cut(string(j.Checkpoint()), "\n20\n")
	root, _, _ := strings.Cut(signed, "\n")
	want := fmt.Sprintf("20 events, root %s, signed by %s, no gap", root, origin)
	report, err := j.Verify(context.Background())
	if err != nil || report.String() != want {
		t.Errorf("open journal: %s, %v; want %s", report, err, want)
	}
	if report.Receipts != 7 || report.Rows != 7 || report.FirstBad != 0 {
		t.Errorf("report %+v, want 7 receipts and 7 rows", report)
	}
	mustClose(t, j)
	report, err = Verify(context.Background(), Options{Dir: dir})
	if err != nil || report.String() != want {
		t.Errorf("closed journal: %s, %v; want %s", report, err, want)
	}
}

// tamperCase is one way to tamper and what must be said of it. Where bad is 0
// the trouble is with no single event.
type tamperCase struct {
	name    string
	tamper  func(tampering)
	reason  string
	bad     uint64
	opens   bool // the quick checks at Open may let this pass
	streams bool // Events may let this pass
}

// eventTamperings changes, removes, adds or swaps events.
func eventTamperings() []tamperCase {
	return []tamperCase{
		{"event changed", func(m tampering) { m.flip(eventKey(7)) }, "EVENT_CHANGED", 7, true, false},
		{"last event changed", func(m tampering) { m.flip(eventKey(20)) }, "EVENT_CHANGED", 20, false, false},
		{"event emptied", func(m tampering) { m.set(eventKey(7), nil) }, "EVENT_CHANGED", 7, true, false},
		{"event extended", func(m tampering) { m.set(eventKey(7), append(m.get(eventKey(7)), 0)) }, "EVENT_CHANGED", 7, true, false},
		{"event removed", func(m tampering) { m.remove(eventKey(7)) }, "EVENT_MISSING", 7, true, false},
		{"first event removed", func(m tampering) { m.remove(eventKey(1)) }, "EVENT_MISSING", 1, true, false},
		{"last event removed", func(m tampering) { m.remove(eventKey(20)) }, "EVENT_MISSING", 20, false, false},
		{"events swapped", func(m tampering) {
			five, nine := m.get(eventKey(5)), m.get(eventKey(9))
			m.set(eventKey(5), nine)
			m.set(eventKey(9), five)
		}, "EVENT_CHANGED", 5, true, false},
	}
}

// hashTamperings changes stored hashes, or events and hashes together.
func hashTamperings() []tamperCase {
	leaf7 := hashKey(tlog.StoredHashIndex(0, 6))
	inner := hashKey(tlog.StoredHashIndex(2, 1)) // of events 5 to 8
	return []tamperCase{
		{"event added at the end", func(m tampering) { m.set(eventKey(21), []byte("new")) }, "EVENT_BEYOND_HEAD", 21, false, true},
		{"event added far behind the end", func(m tampering) { m.set(eventKey(99), []byte("new")) }, "EVENT_BEYOND_HEAD", 21, true, true},
		{"event changed with its hash", func(m tampering) { m.change(1) }, "HASH_CHANGED", 8, true, true},
		{"event changed with hashes of three levels", func(m tampering) { m.change(3) }, "HASH_CHANGED", 8, true, true},
		{"event changed with all its hashes", func(m tampering) { m.change(64) }, "ROOT_DIFFERS", 0, false, true},
		{"leaf hash changed", func(m tampering) { m.flip(leaf7) }, "EVENT_CHANGED", 7, true, false},
		{"leaf hash removed", func(m tampering) { m.remove(leaf7) }, "HASH_MISSING", 7, true, false},
		{"inner hash changed", func(m tampering) { m.flip(inner) }, "HASH_CHANGED", 8, true, true},
		{"inner hash removed", func(m tampering) { m.remove(inner) }, "HASH_MISSING", 8, true, false},
		{"inner hash cut short", func(m tampering) { m.set(inner, m.get(inner)[:31]) }, "HASH_MISSING", 8, true, false},
		{"hash added at the end", func(m tampering) { m.set(hashKey(tlog.StoredHashCount(20)), make([]byte, 32)) }, "EVENT_BEYOND_HEAD", 21, false, true},
	}
}

// headTamperings changes the signed head.
func headTamperings() []tamperCase {
	return []tamperCase{
		{"head counts fewer", func(m tampering) {
			m.set([]byte(headKey), bytes.Replace(m.get([]byte(headKey)), []byte("\n20\n"), []byte("\n19\n"), 1))
		}, "HEAD_FORGED", 0, false, true},
		{"older head put back", func(m tampering) { m.set([]byte(headKey), m.old) }, "EVENT_BEYOND_HEAD", 13, false, true},
		{"head removed", func(m tampering) { m.remove([]byte(headKey)) }, "HEAD_MISSING", 1, false, true},
		{"head is something else", func(m tampering) { m.set([]byte(headKey), []byte("20 events")) }, "HEAD_UNREADABLE", 0, false, true},
		{"head emptied", func(m tampering) { m.set([]byte(headKey), nil) }, "HEAD_UNREADABLE", 0, false, true},
		{"signature of another key of this name", func(m tampering) { m.set([]byte(headKey), m.forge(origin)) }, "HEAD_FORGED", 0, false, true},
		{"signature of another name", func(m tampering) { m.set([]byte(headKey), m.forge("someone/else")) }, "HEAD_FORGED", 0, false, true},
		{"signature spoiled", func(m tampering) {
			head := m.get([]byte(headKey))
			at := len(head) - 30
			head[at] = "AB"[head[at]&1] // another base64 letter, also where it is A or B
			m.set([]byte(headKey), head)
		}, "HEAD_FORGED", 0, false, true},
	}
}

// besideTamperings changes what stands outside the Merkle tree.
func besideTamperings() []tamperCase {
	return []tamperCase{
		{"receipt removed", func(m tampering) { m.remove(commandKey("command 2")) }, "RECEIPT_MISSING", 3, true, true},
		{"receipt claims another's event", func(m tampering) {
			m.receipt("command 2", func(r *storedReceipt) { r.last++ })
		}, "RECEIPT_OVERLAPS", 7, true, true},
		{"receipt gives up an event", func(m tampering) {
			m.receipt("command 2", func(r *storedReceipt) { r.first++ })
		}, "RECEIPT_MISSING", 3, true, true},
		{"receipt points outside", func(m tampering) {
			m.receipt("command 7", func(r *storedReceipt) { r.last++ })
		}, "RECEIPT_OUTSIDE", 0, true, true},
		{"receipt of another layout", func(m tampering) { m.set(commandKey("command 2"), []byte{2}) }, "RECEIPT_DAMAGED", 0, true, true},
		{"receipt of a newer layout", func(m tampering) {
			m.set(commandKey("command 2"), append([]byte{droppedLayout + 1}, make([]byte, receiptHeadBytes)...))
		}, "RECEIPT_DAMAGED", 0, true, true},
		{"row spoiled", func(m tampering) { m.set(rowKey("row", 6), []byte{7}) }, "ROW_DAMAGED", 0, true, true},
		{"row of the future", func(m tampering) { m.set(rowKey("row", 21), []byte{0}) }, "ROW_DAMAGED", 0, true, true},
		{"row without a name", func(m tampering) { m.set(rowKey("", 3), []byte{0}) }, "ROW_DAMAGED", 0, true, true},
	}
}

func TestVerify_SaysWhereItBreaks(t *testing.T) {
	for _, tc := range slices.Concat(eventTamperings(), hashTamperings(), headTamperings(), besideTamperings()) {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			dir := tamperedJournal(t, tc.tamper)
			report, err := Verify(context.Background(), Options{Dir: dir})
			if !fault.Is(err, fault.Lost) || !hasReason(err, tc.reason) || report.FirstBad != tc.bad {
				t.Errorf("Verify: %v, %v; want %s at event %d", report, err, tc.reason, tc.bad)
			}
			if report.Problem == "" || strings.Contains(report.String(), "no gap") {
				t.Errorf("the report does not say so: %s", report)
			}
			t.Log(report)
			checkTamperedOpen(t, dir, tc.reason, tc.opens, tc.streams)
		})
	}
}

// checkTamperedOpen looks at what Open and Events make of a journal in which
// Verify found the given trouble.
func checkTamperedOpen(t *testing.T, dir, reason string, opens, streams bool) {
	t.Helper()
	j, err := tryOpen(dir)
	if err != nil {
		if opens || !fault.Is(err, fault.Lost) || !hasReason(err, reason) {
			t.Errorf("Open: %v; may open: %v", err, opens)
		}
		return
	}
	defer j.Close()
	if !opens {
		t.Error("Open lets this pass")
	}
	if _, err := j.Verify(context.Background()); !hasReason(err, reason) {
		t.Errorf("Verify of the open journal: %v", err)
	}
	err = j.Events(context.Background(), 1, func(uint64, []byte) error { return nil })
	if (err == nil) != streams || (err != nil && !hasReason(err, reason)) {
		t.Errorf("Events: %v; may pass: %v", err, streams)
	}
}

func TestEvents_YieldWhatIsGoodBeforeTheDamage(t *testing.T) {
	j, err := tryOpen(tamperedJournal(t, func(m tampering) { m.remove(eventKey(7)) }))
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	var last uint64
	err = j.Events(context.Background(), 3, func(seq uint64, _ []byte) error { last = seq; return nil })
	if wantFault(t, err, fault.Lost, "EVENT_MISSING"); last != 6 {
		t.Errorf("the last event yielded was %d, want 6", last)
	}
	_, err = j.Event(7)
	wantFault(t, err, fault.Lost, "EVENT_MISSING")
	if _, err := j.Event(8); err != nil {
		t.Errorf("Event(8) = %v", err)
	}
}

func TestAppend_DamagedReceiptIsNotTakenForANewCommand(t *testing.T) {
	j, err := tryOpen(tamperedJournal(t, func(m tampering) { m.set(commandKey("command 2"), []byte("junk")) }))
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	_, err = j.Append(context.Background(), Command{ID: "command 2"}, always(Entry{Events: [][]byte{[]byte("twice")}}))
	if wantFault(t, err, fault.Lost, "RECEIPT_DAMAGED"); j.Size() != tamperedEvents {
		t.Errorf("size %d", j.Size())
	}
}

func TestVerify_WhereThereIsNoJournal(t *testing.T) {
	dir := t.TempDir()
	_, err := Verify(context.Background(), Options{Dir: dir})
	wantFault(t, err, fault.NotFound, "JOURNAL_UNKNOWN")
	_, err = Verify(context.Background(), Options{Dir: dir + "/missing"})
	wantFault(t, err, fault.NotFound, "JOURNAL_UNKNOWN")
}

func TestVerify_EndsWithItsContext(t *testing.T) {
	j := open(t, t.TempDir())
	put(t, j, "1", []string{"a"})
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := j.Verify(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("Verify = %v", err)
	}
}
