package journal

import (
	"context"

	"bayround/internal/fault"
	"bayround/internal/faultpoint"
	"bayround/internal/merkle"
)

// request is a command on its way to the committer.
type request struct {
	command Command
	decide  Decide
	answer  chan answer // holds one; the committer always fills it
}

type answer struct {
	receipt Receipt
	err     error
}

// run is the committer: the one goroutine that writes. While one batch is
// being synced the next gathers at the queue, so no timer is needed.
func (j *Journal) run() {
	defer close(j.ended)
	for {
		var err error
		select {
		case <-j.closing:
			return
		case r := <-j.queue:
			err = j.serve(r)
		case <-j.failed:
			return // the head could not be written
		case work := <-j.turns:
			err = work()
		}
		if err != nil {
			return // whoever still waits hears it from j.failed
		}
	}
}

// serve commits one batch that begins with first. Nobody is answered before
// the commit, not even who is told of a repeated command or of an error of
// decide: such an answer may rest on something in the same batch.
func (j *Journal) serve(first *request) error {
	b := j.newBatch()
	defer b.txn.Discard()
	for r := first; r != nil; r = j.more(b) {
		b.take(r)
	}
	err := b.commit()
	if err == nil && len(b.erased) > 0 {
		err = j.wipe(b.erased)
	}
	if err == nil && b.entries > 0 {
		if b.head != nil {
			j.heads.hand(b.head)
		}
		j.publish(b.edge, b.head)
		err = faultpoint.Hit(faultpoint.JournalBeforeAnswer)
	}
	if err != nil {
		fatal := j.stop(err)
		for _, w := range b.waiting {
			w.request.answer <- answer{err: fatal}
		}
		return fatal
	}
	for _, w := range b.waiting {
		w.request.answer <- w.answer
	}
	return nil
}

// more returns the next waiting command, or nil when none waits or the batch
// is full.
func (j *Journal) more(b *batch) *request {
	if b.full() {
		return nil
	}
	select {
	case r := <-j.queue:
		return r
	default:
		return nil
	}
}

// publish tells everybody what is durable now.
func (j *Journal) publish(e merkle.Edge, head []byte) {
	j.edge = e
	j.mu.Lock()
	if e.Size() > j.size {
		j.size, j.head = e.Size(), head
		close(j.grown)
		j.grown = make(chan struct{})
	}
	j.mu.Unlock()
	if j.committed != nil {
		j.committed(e.Size())
	}
}

// inTurn has work done on the committer's goroutine, so that nothing is decided
// meanwhile. An error of work must be why it has stopped the journal. inTurn does
// not wait for work to end, but errs when it was not begun.
func (j *Journal) inTurn(ctx context.Context, work func() error) error {
	select {
	case j.turns <- work:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-j.failed:
		return j.stopped()
	case <-j.closing:
		return closed()
	}
}

// Answers returns nil once the committer has come round: it is not stuck. It
// errs when ctx ends first, or the journal has stopped or is closed.
func (j *Journal) Answers(ctx context.Context) error {
	return j.inTurn(ctx, func() error { return nil })
}

// stop ends the journal's writing life after a failed write. Only the first
// failure counts.
func (j *Journal) stop(cause error) error {
	failure, first := j.fail(cause)
	if first {
		j.log.Error("journal stopped after a failed write", "cause", cause)
	}
	return failure
}

func (j *Journal) fail(cause error) (failure error, first bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.failure != nil {
		return j.failure, false
	}
	j.failure = fault.New(fault.Unavailable, "JOURNAL_STOPPED",
		"the journal has stopped because a write failed, and nobody knows what reached the disk; open it again, then repeat with the same command id").
		Because(cause)
	close(j.failed)
	return j.failure, true
}

// stopped returns why the journal has stopped; nil when it has not.
func (j *Journal) stopped() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.failure
}
