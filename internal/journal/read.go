package journal

import (
	"context"
	"time"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"

	"bayround/internal/fault"
)

// Events reads in portions, so that a slow yield neither holds the store's
// old tables nor keeps Close waiting.
const (
	portionEvents = 1024
	portionBytes  = 1 << 20
)

// Event returns the event with this sequence number, after checking it
// against its stored hash. One whose content was dropped is fault.NotFound, reason
// EVENT_DROPPED.
func (j *Journal) Event(seq uint64) ([]byte, error) {
	if size := j.Size(); seq == 0 || seq > size {
		return nil, fault.New(fault.NotFound, "EVENT_UNKNOWN", "there is no event %d; the journal holds events 1 to %d", seq, size)
	}
	if j.dropped.spans.has(seq) {
		return nil, eventDropped(seq)
	}
	var event []byte
	err := j.view(func(txn *badger.Txn) (err error) {
		event, err = readEvent(txn, seq)
		return err
	})
	return event, err
}

// view runs read in a read-only transaction that Close waits for.
func (j *Journal) view(read func(txn *badger.Txn) error) (err error) {
	if err := j.readers.enter(); err != nil {
		return err
	}
	defer j.readers.leave()
	defer j.unreadable(&err)
	return j.db.View(read)
}

// unreadable is deferred around reading. When Badger cannot make a new
// write-ahead log, because the disk is full for instance, it fails the commit and
// is left without the table that every read begins with: reading panics. Of a
// journal that stops for that reason the panic is no bug of ours but its answer.
func (j *Journal) unreadable(err *error) {
	p := recover()
	if p == nil {
		return
	}
	imminent := time.NewTimer(time.Second) // the commit fails a moment after the table is gone
	defer imminent.Stop()
	select {
	case <-j.failed:
		*err = j.stopped()
	case <-imminent.C:
		panic(p)
	}
}

// readEvent reads one event and checks it.
func readEvent(txn *badger.Txn, seq uint64) ([]byte, error) {
	event, err := getIn(txn, eventKey(seq))
	if err != nil {
		return nil, err
	}
	if event == nil {
		return nil, eventMissing(seq)
	}
	hashes, err := storedHashes(txn).ReadHashes([]int64{tlog.StoredHashIndex(0, int64(seq-1))})
	if err != nil {
		return nil, err
	}
	if tlog.RecordHash(event) != hashes[0] {
		return nil, eventChanged(seq)
	}
	return event, nil
}

func eventMissing(seq uint64) error {
	return lost("EVENT_MISSING", "event %d is missing; restore the journal from a backup or a copy", seq)
}

func eventChanged(seq uint64) error {
	return lost("EVENT_CHANGED", "event %d does not match its stored hash: it or the hash was changed; restore the journal from a backup or a copy", seq)
}

// Events calls yield for each event from the sequence number from (0 is the
// same as 1) to the end as of the call, in order. The bytes are the callee's
// to keep. Each event is checked against its stored hash, and it is an error
// (fault.Lost) when a number is missing; the events before it have been
// yielded by then. Events whose content was dropped are passed over. An error of yield ends the walk and comes back unchanged.
func (j *Journal) Events(ctx context.Context, from uint64, yield func(seq uint64, event []byte) error) error {
	end := j.Size()
	for next := max(from, 1); next <= end; {
		events, behind, damage := j.portion(next, end)
		for _, event := range events {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := yield(event.seq, event.bytes); err != nil {
				return err
			}
		}
		if damage != nil {
			return damage
		}
		next = behind
	}
	return nil
}

// numbered is an event with its sequence number.
type numbered struct {
	seq   uint64
	bytes []byte
}

// portion reads some events of from to end, and says from which event to go on.
// When it errs the events returned are the good ones before the trouble.
func (j *Journal) portion(from, end uint64) (events []numbered, behind uint64, err error) {
	err = j.view(func(txn *badger.Txn) error {
		w := newWalk(txn, j.dropped.spans, from)
		defer w.close()
		for bytes := 0; w.next <= end && len(events) < portionEvents && bytes < portionBytes; {
			if gone, dropped := j.dropped.spans.at(w.next); dropped {
				w.seek(gone.Last + 1)
				continue
			}
			event, _, err := w.step()
			if err != nil {
				return err
			}
			events = append(events, numbered{w.next - 1, append([]byte{}, event...)})
			bytes += len(event)
		}
		behind = w.next
		return nil
	})
	return events, behind, err
}
