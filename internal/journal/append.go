package journal

import (
	"context"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// Row is one row of a projection: what the events say about Key.
type Row struct {
	Key   string // 1 to 1024 bytes, none of them 0x00
	Value []byte // nil = gone from here on
}

// Entry is what a command leaves in the journal: all of it or nothing. Its
// bytes must not be changed before Append has returned.
type Entry struct {
	Events  [][]byte
	Rows    []Row
	Receipt []byte // the body of the receipt, for whoever repeats the command
	// Apart is what the events hold only the digests of, so that it can be erased.
	Apart []Apart
	// Erase are digests of what was kept apart and is no more. It is gone from the
	// files of the store, too, when Append returns; nothing brings it back.
	Erase [][32]byte
	// Settled tells that what was owed after a pruning (Pruning.Owed) is done.
	Settled bool
}

// Decide says what a command leaves behind; next is the sequence number that
// its first event will get. It runs on the committer's goroutine and must not
// call Append, Rebuild or Close. What was decided just before it may not be on
// disk yet, so it must not look at the journal but at what its owner keeps in
// memory. A panic in it is a bug and ends the process.
type Decide func(next uint64) (Entry, error)

// The limits of one entry. An entry and the batch it lands in must fit into
// one Badger transaction: 15 % of the 8 MiB memtable (1,258,291 bytes), and
// 13,107 keys.
const (
	maxRowKeyBytes  = 1 << 10
	maxValueBytes   = 512 << 10 // of an event, a row, a receipt's body
	maxEntryBytes   = 1_000_000 // keys, hashes and Badger's own share included
	maxEntryKeys    = 8_000
	fullBatchBytes  = 192 << 10 // a batch this big takes in no more
	fullBatchKeys   = 4_000
	maxBatchEntries = 128
	keyCost         = 32 // Badger's bytes and our prefix for one key, rounded up
)

// Append runs decide on the committer's goroutine, after everything decided
// before it and before everything decided after it, and returns once what it
// decided is on disk.
//
// A repeated command stores nothing, does not call decide, and returns the
// first receipt with Repeated set. The same id with another digest is
// fault.Exists, reason COMMAND_ID_REUSED. If decide errs, nothing is stored
// and the error comes back unchanged. An entry that is too big is
// fault.Invalid, and nothing is stored. An error of ctx means that decide was
// not called; once the committer has taken the command, Append waits for the
// outcome whatever ctx does.
//
// After a failed commit nobody knows what reached the disk: this and every
// later call is fault.Unavailable, reason JOURNAL_STOPPED, until the next
// Open. Repeating the command then finds out.
func (j *Journal) Append(ctx context.Context, c Command, decide Decide) (Receipt, error) {
	if err := c.check(); err != nil {
		return Receipt{}, err
	}
	if err := ctx.Err(); err != nil {
		return Receipt{}, err
	}
	r := &request{command: c, decide: decide, answer: make(chan answer, 1)}
	select {
	case j.queue <- r:
	case <-ctx.Done():
		return Receipt{}, ctx.Err()
	case <-j.failed:
		return Receipt{}, j.stopped()
	case <-j.closing:
		return Receipt{}, closed()
	}
	a := <-r.answer
	return a.receipt, a.err
}

// weigh returns how many keys an entry needs and how many bytes, as Badger
// counts them and rounded up; or says why the entry cannot be stored. size is
// the number of events before it.
func (e Entry) weigh(c Command, size uint64) (keys, bytes int, err error) {
	hashes := int(tlog.StoredHashCount(int64(size)+int64(len(e.Events))) - tlog.StoredHashCount(int64(size)))
	keys = len(e.Events) + hashes + len(e.Rows) + 1
	bytes = keys*keyCost + hashes*tlog.HashSize + len(c.ID) + receiptHeadBytes + len(e.Receipt)
	for i, event := range e.Events {
		if len(event) > maxValueBytes {
			return 0, 0, tooLarge("event %d of command %q has %d bytes, at most %d can be stored", i+1, c.ID, len(event), maxValueBytes)
		}
		bytes += len(event)
	}
	for _, row := range e.Rows {
		if err := row.check(); err != nil {
			return 0, 0, err
		}
		bytes += len(row.Key) + len(row.Value)
	}
	apartKeys, apartBytes, err := e.weighApart()
	if err != nil {
		return 0, 0, err
	}
	keys, bytes = keys+apartKeys, bytes+apartBytes+apartKeys*keyCost
	if len(e.Receipt) > maxValueBytes || bytes > maxEntryBytes || keys > maxEntryKeys {
		return 0, 0, tooLarge("command %q leaves %d bytes under %d keys, at most %d bytes (%d of them the receipt) and %d keys can be stored at once; divide it",
			c.ID, bytes, keys, maxEntryBytes, maxValueBytes, maxEntryKeys)
	}
	return keys, bytes, nil
}

func (r Row) check() error {
	if r.Key == "" || len(r.Key) > maxRowKeyBytes || strings.IndexByte(r.Key, 0) >= 0 {
		return fault.New(fault.Invalid, "ROW_KEY_INVALID",
			"the row key %.40q must have 1 to %d bytes and no zero byte", r.Key, maxRowKeyBytes)
	}
	if len(r.Value) > maxValueBytes {
		return tooLarge("the row %q has %d bytes, at most %d can be stored", r.Key, len(r.Value), maxValueBytes)
	}
	return nil
}

func tooLarge(format string, args ...any) error {
	return fault.New(fault.Invalid, "ENTRY_TOO_LARGE", format, args...)
}
